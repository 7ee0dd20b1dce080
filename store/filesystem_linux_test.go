package store

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// The numbers are those of statfs(2) in the Linux manual pages.
func TestNetworkKinds(t *testing.T) {
	for number, want := range map[uint32]string{
		0x6969:     "a network file system (NFS)",
		0xfe534d42: "a network file system (SMB)",
		0xff534d42: "a network file system (SMB)",
		0x00c36400: "a network file system (Ceph)",
		0xef53:     "", // ext4
		0x9123683e: "", // btrfs
		0x58465342: "", // xfs
		0x01021994: "", // tmpfs
	} {
		assert.Equal(t, want, networkKind(number), "%#x", number)
	}
	assert.Empty(t, networkFileSystem("/proc"))
}
