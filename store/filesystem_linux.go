package store

import "syscall"

// networkFileSystem names the kind of shared file system that dir lies on.
func networkFileSystem(dir string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return ""
	}
	return networkKind(uint32(s.Type))
}

// networkKind names the file systems that are, or may be, shared, by their
// f_type (statfs(2), linux/magic.h); "" for all others.
func networkKind(fileSystem uint32) string {
	switch fileSystem {
	case 0x6969:
		return "a network file system (NFS)"
	case 0x517b, 0xfe534d42, 0xff534d42:
		return "a network file system (SMB)"
	case 0x5346414f, 0x6b414653:
		return "a network file system (AFS)"
	case 0x73757245:
		return "a network file system (Coda)"
	case 0x564c:
		return "a network file system (NCP)"
	case 0x00c36400:
		return "a network file system (Ceph)"
	case 0x0bd00bd0:
		return "a network file system (Lustre)"
	case 0x01161970:
		return "a cluster file system (GFS2)"
	case 0x7461636f:
		return "a cluster file system (OCFS2)"
	case 0x01021997:
		return "a file system of another machine (9P)"
	case 0x786f4256:
		return "a folder of a virtual machine's host"
	case 0x65735546:
		return "a file system of a user program (FUSE), which may be a network's"
	}
	return ""
}
