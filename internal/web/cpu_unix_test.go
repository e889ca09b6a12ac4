//go:build unix

package web

import (
	"syscall"
	"time"
)

// cpuTime is what this process has taken of processors so far. Beside the time
// that passed it tells what a page costs from what it waited for on a machine
// that does other work too.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
