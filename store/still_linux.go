package store

import (
	"syscall"
	"time"
)

// changeOf gives a file's number in its file system, and when its bytes, its
// name or its times were changed last.
func changeOf(path string) (number uint64, changed time.Time, err error) {
	var st syscall.Stat_t
	if err := syscall.Stat(path, &st); err != nil {
		return 0, time.Time{}, err
	}
	return st.Ino, time.Unix(st.Ctim.Unix()), nil
}
