package store

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"syscall"
)

func lieOf(copied, of string) (Place, error) {
	var files [2]syscall.Statfs_t
	var stats [2]syscall.Stat_t
	for i, dir := range []string{copied, of} {
		if err := syscall.Statfs(dir, &files[i]); err != nil {
			return UnknownPlace, &os.PathError{Op: "statfs", Path: dir, Err: err}
		}
		if err := syscall.Stat(dir, &stats[i]); err != nil {
			return UnknownPlace, &os.PathError{Op: "stat", Path: dir, Err: err}
		}
	}
	return placed("/sys", uint32(files[0].Type), uint64(stats[0].Dev), uint64(stats[1].Dev)), nil
}

// f_type of file systems in memory (statfs(2), linux/magic.h): tmpfs, ramfs.
const tmpfs, ramfs = 0x01021994, 0x858458f6

// placed decides by the kind of the copy's file system and the device numbers
// of both. sys is where the kernel describes its devices.
func placed(sys string, kind uint32, copied, of uint64) Place {
	switch {
	case copied == of:
		return SameDevice
	case kind == tmpfs || kind == ramfs:
		return InMemory
	case networkKind(kind) != "" && kind != 0x65735546: // FUSE may be anything
		return OtherDevice
	}
	a, b := disks(sys, copied), disks(sys, of)
	if len(a) == 0 || len(b) == 0 {
		return UnknownPlace
	}
	if slices.ContainsFunc(a, func(d string) bool { return slices.Contains(b, d) }) {
		return SameDevice
	}
	return OtherDevice
}

// disks gives the whole disks that a device number rests on, as folders of the
// kernel's: of a partition its disk, of a mapped or joined device those below.
// None where the number is of no device (overlays, subvolumes, networks).
func disks(sys string, dev uint64) []string {
	// As glibc takes a device number apart (makedev(3)).
	major, minor := dev>>8&0xfff|dev>>32&^0xfff, dev&0xff|dev>>12&^0xff
	folder, err := filepath.EvalSymlinks(fmt.Sprintf("%s/dev/block/%d:%d", sys, uint32(major), uint32(minor)))
	if err != nil || major == 0 {
		return nil
	}
	return wholes(folder, 8)
}

// wholes follows a block device's folder down; depth ends circles.
func wholes(folder string, depth int) []string {
	if depth == 0 {
		return nil
	}
	if _, err := os.Stat(filepath.Join(folder, "partition")); err == nil {
		folder = filepath.Dir(folder)
	}
	below, err := os.ReadDir(filepath.Join(folder, "slaves"))
	if err != nil || len(below) == 0 {
		if backing, err := os.ReadFile(filepath.Join(folder, "loop", "backing_file")); err == nil && len(backing) > 0 {
			return nil // a file on some other disk
		}
		return []string{folder}
	}
	var out []string
	for _, b := range below {
		target, err := filepath.EvalSymlinks(filepath.Join(folder, "slaves", b.Name()))
		if err != nil {
			return nil
		}
		found := wholes(target, depth-1)
		if len(found) == 0 {
			return nil
		}
		out = append(out, found...)
	}
	return out
}
