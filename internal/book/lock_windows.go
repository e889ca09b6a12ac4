//go:build windows

package book

import (
	"errors"
	"os"

	"golang.org/x/sys/windows"
)

// lockFile takes an exclusive lock that ends with the process, however it ends.
func lockFile(f *os.File) error {
	// The locked byte lies beyond the text, so that another process can still
	// read who has the book.
	o := &windows.Overlapped{Offset: 1 << 20}
	err := windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY, 0, 1, 0, o)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) {
		return errBusy
	}
	return err
}
