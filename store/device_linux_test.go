package store

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPlaced asks about a machine with two disks, of which one has two
// partitions and carries an encrypted one, a mirror over both, and a file that
// is mounted. The tree is laid out as the kernel does (sysfs: block devices under
// devices/, dev/block/MAJOR:MINOR links to them, "partition" in partitions,
// "slaves" in what is made of others).
func TestPlaced(t *testing.T) {
	sys := t.TempDir()
	device := func(number, path string, partition bool, slaves ...string) {
		folder := filepath.Join(sys, "devices", path)
		require.NoError(t, os.MkdirAll(filepath.Join(folder, "slaves"), 0o755))
		if partition {
			require.NoError(t, os.WriteFile(filepath.Join(folder, "partition"), []byte("1\n"), 0o644))
		}
		for _, s := range slaves {
			require.NoError(t, os.Symlink(filepath.Join(sys, "devices", s), filepath.Join(folder, "slaves", filepath.Base(s))))
		}
		require.NoError(t, os.MkdirAll(filepath.Join(sys, "dev/block"), 0o755))
		require.NoError(t, os.Symlink(folder, filepath.Join(sys, "dev/block", number)))
	}
	device("8:0", "pci/block/sda", false)
	device("8:1", "pci/block/sda/sda1", true)
	device("8:2", "pci/block/sda/sda2", true)
	device("8:16", "usb/block/sdb", false)
	device("8:17", "usb/block/sdb/sdb1", true)
	device("253:0", "virtual/block/dm-0", false, "pci/block/sda/sda2")
	device("9:0", "virtual/block/md0", false, "pci/block/sda/sda2", "usb/block/sdb/sdb1")
	device("7:0", "virtual/block/loop0", false)
	require.NoError(t, os.MkdirAll(filepath.Join(sys, "devices/virtual/block/loop0/loop"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(sys, "devices/virtual/block/loop0/loop/backing_file"), []byte("/stick.img\n"), 0o644))
	require.NoError(t, os.Symlink(filepath.Join(sys, "devices/virtual/block/dm-1"), filepath.Join(sys, "dev/block/253:1"))) // goes nowhere
	number := func(major, minor uint64) uint64 { return major<<8 | minor }                                                  // makedev(3), for small ones
	const ext4, nfs, fuse = 0xef53, 0x6969, 0x65735546
	sda1, sda2, sdb1, crypt := number(8, 1), number(8, 2), number(8, 17), number(253, 0)
	for _, test := range []struct {
		name       string
		kind       uint32
		copied, of uint64
		want       Place
	}{
		{"the same file system", ext4, sda1, sda1, SameDevice},
		{"another partition of the same disk", ext4, sda2, sda1, SameDevice},
		{"an encrypted part of the same disk", ext4, crypt, sda1, SameDevice},
		{"a stick", ext4, sdb1, sda1, OtherDevice},
		{"from the encrypted disk to a stick", ext4, sdb1, crypt, OtherDevice},
		{"a mirror that has the disk in it", ext4, number(9, 0), sda1, SameDevice},
		{"another machine", nfs, number(0, 50), sda1, OtherDevice},
		{"a user program's", fuse, number(0, 51), sda1, UnknownPlace},
		{"memory", tmpfs, number(0, 24), sda1, InMemory},
		{"memory, and the log there, too", tmpfs, number(0, 24), number(0, 24), SameDevice},
		{"an overlay", 0x794c7630, number(0, 60), sda1, UnknownPlace},
		{"from an overlay", ext4, sdb1, number(0, 60), UnknownPlace},
		{"a file that is mounted", ext4, number(7, 0), sda1, UnknownPlace},
		{"what the kernel does not describe", ext4, number(253, 1), sda1, UnknownPlace},
	} {
		assert.Equal(t, test.want, placed(sys, test.kind, test.copied, test.of), test.name)
	}
}

func TestPlaceOf(t *testing.T) {
	dir := t.TempDir()
	got, err := PlaceOf(dir, dir)
	require.NoError(t, err)
	assert.Equal(t, SameDevice, got)
	_, err = PlaceOf(filepath.Join(dir, "nothing"), dir)
	assert.Error(t, err)
	got, err = PlaceOf("/dev/shm", "/proc")
	require.NoError(t, err)
	assert.Equal(t, InMemory, got, "/dev/shm is in memory")
}
