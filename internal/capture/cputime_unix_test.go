//go:build unix

package capture

import (
	"syscall"
	"time"
)

// cpuTime is how long the process has been computing so far. On a machine
// that others use it compares where the clock does not.
func cpuTime() time.Duration {
	var u syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &u) != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
