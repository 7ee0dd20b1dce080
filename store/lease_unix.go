//go:build !windows

package store

import (
	"errors"
	"os"
	"syscall"
)

// lockFile opens the file, made if need be, with an exclusive flock. That lock
// belongs to the open file: the kernel drops it when the process ends, and a
// second open of the same file conflicts also within one process.
func lockFile(path string) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0o644)
	if err != nil {
		return nil, err
	}
	if err := flock(f, syscall.LOCK_EX); err != nil {
		f.Close()
		return nil, err
	}
	return f, nil
}

// probeLock returns errHeld if some open file has the lock, and changes nothing.
func probeLock(path string) error {
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NOFOLLOW|syscall.O_NONBLOCK, 0)
	if err != nil {
		return err
	}
	defer f.Close()
	return flock(f, syscall.LOCK_SH)
}

func flock(f *os.File, how int) error {
	for {
		err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
		switch {
		case errors.Is(err, syscall.EINTR):
		case errors.Is(err, syscall.EWOULDBLOCK):
			return errHeld
		default:
			return err
		}
	}
}
