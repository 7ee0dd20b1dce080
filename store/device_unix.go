//go:build unix && !linux

package store

import (
	"os"
	"syscall"
)

// lieOf knows file systems apart, and not which disk they are on.
func lieOf(copied, of string) (Place, error) {
	var stats [2]syscall.Stat_t
	for i, dir := range []string{copied, of} {
		if err := syscall.Stat(dir, &stats[i]); err != nil {
			return UnknownPlace, &os.PathError{Op: "stat", Path: dir, Err: err}
		}
	}
	if stats[0].Dev == stats[1].Dev {
		return SameDevice, nil
	}
	return UnknownPlace, nil
}
