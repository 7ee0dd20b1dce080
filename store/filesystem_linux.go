package store

import "syscall"

// networkKinds are the f_type values of file systems that are, or may be, shared
// (statfs(2), linux/magic.h).
var networkKinds = map[uint32]string{
	0x6969:     "a network file system (NFS)",
	0x517b:     "a network file system (SMB)",
	0xfe534d42: "a network file system (SMB2)",
	0xff534d42: "a network file system (CIFS)",
	0x5346414f: "a network file system (AFS)",
	0x6b414653: "a network file system (AFS)",
	0x73757245: "a network file system (Coda)",
	0x564c:     "a network file system (NCP)",
	0x00c36400: "a network file system (Ceph)",
	0x0bd00bd0: "a network file system (Lustre)",
	0x01161970: "a cluster file system (GFS2)",
	0x7461636f: "a cluster file system (OCFS2)",
	0x01021997: "a file system of another machine (9P)",
	0x786f4256: "a folder of a virtual machine's host",
	0x65735546: "a file system of a user program (FUSE), which may be a network's",
}

// networkFileSystem names the kind of shared file system that dir lies on.
func networkFileSystem(dir string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return ""
	}
	return networkKinds[uint32(s.Type)]
}
