//go:build outside && linux

package main

import (
	"io"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// mount gives a small disk of its own until the test ends. It needs root, and
// fails without.
func mount(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", 0, options), "mounting a tmpfs needs root")
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(dir, 0)) })
	return dir
}

// TestFullDisk fills the disk under a car folder and its configuration, a
// little more at a time, and runs the program each time: it ends with 4 or
// does its work, everything that it acknowledged is kept, and with some space
// it goes on where it was.
func TestFullDisk(t *testing.T) {
	disk := mount(t, "size=4m")
	c := longCar(t, disk)
	ballast, err := os.Create(filepath.Join(disk, "ballast"))
	require.NoError(t, err)
	require.ErrorIs(t, fill(ballast), syscall.ENOSPC)
	size, err := ballast.Seek(0, 2)
	require.NoError(t, err)
	var said []acknowledged
	full := 0
	for free := int64(0); free <= 256<<10; free += 4 << 10 {
		require.NoError(t, ballast.Truncate(size-free)) // so much space now
		args := []string{"run", "long", "--answers", "long_answers.yaml"}
		if open(c.entries()) {
			args = []string{"resume", "--answers", "long_answers.yaml"}
		}
		r := c.finish(c.command(args...))
		r.wantRefusal(t, r.code)
		require.Contains(t, []int{0, 4}, r.code, r.out+r.talk)
		if r.code == 4 {
			full++
			assert.Contains(t, r.talk, "hvproof: error: ")
		}
		said = append(said, acknowledgedIn(t, r.talk)...)
		c.checkKept(said)
		if r.code == 0 {
			break
		}
		_, err := ballast.Seek(0, 2)
		require.NoError(t, err)
		_ = fill(ballast) // what the program used, and gave back, is full again
		size, err = ballast.Seek(0, 2)
		require.NoError(t, err)
	}
	require.Positive(t, full, "the disk was never full")
	require.NoError(t, ballast.Close())
	require.NoError(t, os.Remove(ballast.Name()))
	if open(c.entries()) {
		r := c.finish(c.command("resume", "--answers", "long_answers.yaml"))
		require.Equal(t, 0, r.code, r.out+r.talk)
	}
	c.checkKept(said)
	r := c.in("verify")
	require.Equal(t, 0, r.code, r.out+r.talk)
}

// TestFullDiskAtTheBeginning: a car folder that does not fit is said not to.
func TestFullDiskAtTheBeginning(t *testing.T) {
	disk := mount(t, "size=64k")
	c := &car{t: t, dir: filepath.Join(disk, "car"), config: filepath.Join(t.TempDir(), "config")}
	c.finish(c.command()).wantRefusal(t, 0)
	r := c.do("", "init", "--practice", c.dir)
	r.wantRefusal(t, 4, "no space left")
	_, err := os.Stat(filepath.Join(c.dir, "vehicle.yaml"))
	assert.ErrorIs(t, err, os.ErrNotExist, "half a car folder is none")
}

// fill writes to w until it takes no more, and gives the error.
func fill(w io.Writer) error {
	block := make([]byte, 4096)
	for {
		if _, err := w.Write(block); err != nil {
			return err
		}
	}
}
