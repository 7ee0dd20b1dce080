//go:build !windows

package home

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
)

// readableByOthers reports whether somebody else than the owner can read or
// change a file with these mode bits.
func readableByOthers(mode fs.FileMode) bool { return mode.Perm()&0o077 != 0 }

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
