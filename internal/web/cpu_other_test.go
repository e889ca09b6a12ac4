//go:build !unix

package web

import "time"

// cpuTime is not known here; only the time that passed is reported.
func cpuTime() time.Duration { return 0 }
