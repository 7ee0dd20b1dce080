package store

import "syscall"

// mntLocal is MNT_LOCAL of sys/mount.h.
const mntLocal = 0x1000

// networkFileSystem names the kind of shared file system that dir lies on.
func networkFileSystem(dir string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil || s.Flags&mntLocal != 0 {
		return ""
	}
	return "a network file system"
}
