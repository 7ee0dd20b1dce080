//go:build unix

package main

import (
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// nobody is the user id without rights that Linux and macOS use by custom.
const nobody = 65534

// eachOf gives do every file and folder below root.
func eachOf(t *testing.T, root string, do func(path string, isDir bool) error) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		return do(path, d.IsDir())
	}))
}

// TestReadOnlyDatabase runs the program as somebody who may not write: it
// reads, and what would write ends with 4 and leaves everything as it was.
func TestReadOnlyDatabase(t *testing.T) {
	dir, err := os.MkdirTemp("", "readonly") // t.TempDir is closed to others
	require.NoError(t, err)
	t.Cleanup(func() {
		eachOf(t, dir, func(path string, isDir bool) error { return os.Chmod(path, 0o755) })
		assert.NoError(t, os.RemoveAll(dir))
	})
	require.NoError(t, os.Chmod(dir, 0o755))
	c := newCar(t, dir)
	require.Equal(t, 0, c.in("run", "bench", "--answers", "passes.yaml").code)
	before := c.read(database)

	program, err := exec.LookPath("hvproof")
	require.NoError(t, err)
	copied := filepath.Join(dir, "hvproof")
	bytes, err := os.ReadFile(program)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(copied, bytes, 0o755))
	as := func(args ...string) result {
		command := exec.Command(copied, append([]string{"-C", c.dir}, args...)...)
		command.Env = append(os.Environ(), "HVPROOF_CONFIG="+c.config)
		if os.Geteuid() == 0 { // permissions do not bind root
			command.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: nobody, Gid: nobody}}
		}
		return c.finish(command)
	}
	if os.Geteuid() == 0 {
		eachOf(t, dir, func(path string, _ bool) error { return os.Chown(path, nobody, nobody) })
	}
	eachOf(t, c.dir, func(path string, isDir bool) error {
		if isDir {
			return os.Chmod(path, 0o555)
		}
		return os.Chmod(path, 0o444)
	})
	as("log").wantRefusal(t, 0)
	as("ready").wantRefusal(t, 0)
	as("verify").wantRefusal(t, 0)
	for _, args := range [][]string{
		{"run", "bench", "--answers", "passes.yaml"}, {"resume"}, {"person", "add", "x.y"}, {"person", "retire", "witness", "--reason", "left"},
	} {
		as(args...).wantRefusal(t, 4, "hvproof: error: ", c.dir)
		r := as(append(args, "--json")...)
		assert.Empty(t, checkDocument(args[0], r.code, []byte(r.out)), r.out)
	}
	eachOf(t, c.dir, func(path string, isDir bool) error {
		if isDir {
			return os.Chmod(path, 0o755)
		}
		return os.Chmod(path, 0o644)
	})
	assert.Equal(t, before, c.read(database))
	c.grew(6)
}
