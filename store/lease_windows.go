package store

import (
	"errors"
	"os"
	"syscall"
)

// errSharingViolation is ERROR_SHARING_VIOLATION of winerror.h.
const errSharingViolation = syscall.Errno(32)

// lockFile opens the file, made if need be, so that others can read but not
// write it. Windows drops that when the process ends.
func lockFile(path string) (*os.File, error) {
	return openShared(path, syscall.GENERIC_READ|syscall.GENERIC_WRITE, syscall.FILE_SHARE_READ, syscall.OPEN_ALWAYS)
}

// probeLock returns errHeld if somebody has the file open for writing.
func probeLock(path string) error {
	f, err := openShared(path, syscall.GENERIC_READ, syscall.FILE_SHARE_READ, syscall.OPEN_EXISTING)
	if err != nil {
		return err
	}
	return f.Close()
}

func openShared(path string, access, share, create uint32) (*os.File, error) {
	name, err := syscall.UTF16PtrFromString(path)
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	handle, err := syscall.CreateFile(name, access, share, nil, create, syscall.FILE_ATTRIBUTE_NORMAL, 0)
	if errors.Is(err, errSharingViolation) {
		return nil, errHeld
	}
	if err != nil {
		return nil, &os.PathError{Op: "open", Path: path, Err: err}
	}
	return os.NewFile(uintptr(handle), path), nil
}
