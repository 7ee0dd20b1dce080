//go:build !windows

package store

import (
	"errors"
	"os"
	"syscall"
)

// isFull reports whether an error of the file system means a full disk.
func isFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}

// syncFolder makes the names in a folder durable. File systems that cannot
// synchronise a folder answer EINVAL or ENOTSUP and are taken at their word.
func syncFolder(folder string) error {
	f, err := os.Open(folder)
	if err != nil {
		return err
	}
	err = f.Sync()
	if errors.Is(err, syscall.EINVAL) || errors.Is(err, syscall.ENOTSUP) {
		err = nil
	}
	return errors.Join(err, f.Close())
}
