package browser

import (
	"fmt"
	"syscall"
)

// mountSmall lays a disk of so many bytes, kept in memory, over a folder.
func mountSmall(dir string, size int) (unmount func() error, err error) {
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", size)); err != nil {
		return nil, err
	}
	return func() error { return syscall.Unmount(dir, 0) }, nil
}
