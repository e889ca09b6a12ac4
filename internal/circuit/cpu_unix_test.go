//go:build unix

package circuit_test

import (
	"syscall"
	"time"
)

// cpu is the time that this process has worked.
func cpu() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
