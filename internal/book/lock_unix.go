//go:build unix

package book

import (
	"errors"
	"os"
	"syscall"
)

// lockFile takes an exclusive lock that ends with the process, however it ends.
func lockFile(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return errBusy
	}
	return err
}
