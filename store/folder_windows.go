package store

import (
	"errors"
	"syscall"
)

// isFull reports whether an error of the file system means a full disk:
// ERROR_HANDLE_DISK_FULL and ERROR_DISK_FULL of winerror.h.
func isFull(err error) bool {
	return errors.Is(err, syscall.Errno(39)) || errors.Is(err, syscall.Errno(112))
}

// syncFolder does nothing: Windows cannot synchronise a folder; its file
// systems write the names in their own journal.
func syncFolder(string) error { return nil }
