package store

import (
	"path/filepath"
	"strings"
	"syscall"
	"unsafe"
)

// driveRemote is DRIVE_REMOTE of GetDriveTypeW.
const driveRemote = 4

// networkFileSystem names the kind of shared file system that dir lies on.
func networkFileSystem(dir string) string {
	volume := filepath.VolumeName(dir)
	if strings.HasPrefix(volume, `\\`) {
		return "a network share"
	}
	root, err := syscall.UTF16PtrFromString(volume + `\`)
	if err != nil {
		return ""
	}
	kind, _, _ := syscall.NewLazyDLL("kernel32.dll").NewProc("GetDriveTypeW").Call(uintptr(unsafe.Pointer(root)))
	if kind == driveRemote {
		return "a network drive"
	}
	return ""
}
