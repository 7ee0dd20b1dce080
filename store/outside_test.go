//go:build outside

package store

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// shell runs SQLite's own shell on a database and returns what it prints. A
// computer without sqlite3 fails the test.
func shell(t *testing.T, database string, arguments ...string) string {
	t.Helper()
	out, err := exec.Command("sqlite3", append([]string{"-batch", "-bail", database}, arguments...)...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return strings.TrimRight(string(out), "\n")
}

func TestSQLiteShellReadsIt(t *testing.T) {
	dir := filled(t, 30)
	path := filepath.Join(dir, databaseFile)
	assert.Equal(t, "ok", shell(t, path, "PRAGMA integrity_check"))
	assert.Equal(t, "", shell(t, path, "PRAGMA foreign_key_check"))
	assert.Equal(t, "30", shell(t, path, "SELECT size FROM log WHERE origin = '"+chainOrigin+"'"))
	want, err := readAll(dir)
	require.NoError(t, err)
	require.Len(t, want, 30)
	for i, note := range want {
		got := shell(t, path, `SELECT note FROM entry WHERE "index" = `+strconv.Itoa(i))
		assert.Equal(t, strings.TrimRight(string(note), "\n"), got)
	}
	assert.Equal(t, "text", shell(t, path, "SELECT DISTINCT typeof(note) FROM entry"))
	assert.Contains(t, shell(t, path, ".schema"), "-- the whole C2SP signed note", "the schema explains itself")
}

func TestSQLiteShellMayNotChangeIt(t *testing.T) {
	path := filepath.Join(filled(t, 3), databaseFile)
	for _, statement := range []string{"UPDATE entry SET note = ''", "DELETE FROM entry", "DELETE FROM log"} {
		out, err := exec.Command("sqlite3", "-batch", "-bail", path, statement).CombinedOutput()
		require.Error(t, err, statement)
		assert.Contains(t, string(out), "append-only", statement)
	}
}

func TestSQLiteShellAfterKills(t *testing.T) {
	dir := t.TempDir()
	for range 5 {
		c := startChild(t, dir, "append")
		require.True(t, c.lines.Scan())
		c.kill(t)
		assert.Equal(t, "ok", shell(t, filepath.Join(dir, databaseFile), "PRAGMA integrity_check"))
	}
}

// mount mounts a tmpfs with these options until the test ends. It needs root.
func mount(t *testing.T, options string) string {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", 0, options), "mounting needs root")
	t.Cleanup(func() { assert.NoError(t, syscall.Unmount(dir, 0)) })
	return dir
}

func TestFullDiskForReal(t *testing.T) {
	ctx := context.Background()
	dir := mount(t, "size=1m")
	spare := filepath.Join(dir, "spare") // space to be given back in the end
	require.NoError(t, os.WriteFile(spare, make([]byte, 256<<10), 0o644))
	s, err := Open(dir, Options{Holder: testHolder(1)})
	require.NoError(t, err)
	size := int64(0)
	for err == nil && size < 10_000 {
		if err = answer(s, size, size); err == nil {
			size++
		}
	}
	require.Positive(t, size)
	requireMachine(t, err, dir, "the disk is full")

	// Now fill what is left, so that the database itself cannot grow.
	ballast, err := os.Create(filepath.Join(dir, "ballast"))
	require.NoError(t, err)
	for err == nil {
		_, err = ballast.Write(make([]byte, 1024))
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.NoError(t, ballast.Close())
	for err = nil; err == nil && size < 20_000; {
		if err = extend(s, size, chainNote(size, [32]byte{})); err == nil {
			size++
		}
	}
	requireMachine(t, err, s.path, "the disk is full")

	r, err := Open(dir, Options{ReadOnly: true})
	require.NoError(t, err, "reading works on a full disk")
	notes, err := checkChain(r)
	require.NoError(t, err)
	assert.Len(t, notes, int(size), "everything acknowledged is there, nothing else")
	require.NoError(t, r.Close())

	require.NoError(t, os.Remove(spare))
	require.NoError(t, answer(s, size, size), "with some space it goes on")
	require.NoError(t, s.Check(ctx))
	notes, err = checkChain(s)
	require.NoError(t, err)
	assert.Len(t, notes, int(size)+1)
	require.NoError(t, s.Close())
}

func TestFullDiskAtTheBeginning(t *testing.T) {
	dir := mount(t, "size=16k")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "ballast"), make([]byte, 12<<10), 0o644))
	_, err := Open(dir, Options{Holder: testHolder(1)})
	require.Error(t, err)
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
	assert.ErrorContains(t, err, dir)
	require.NoError(t, os.Remove(filepath.Join(dir, "ballast")))
}

func TestReadOnlyMount(t *testing.T) {
	dir := mount(t, "size=4m")
	s, err := Open(dir, Options{Holder: testHolder(1)})
	require.NoError(t, err)
	require.NoError(t, answer(s, 0, 0))
	require.NoError(t, s.Close())
	require.NoError(t, syscall.Mount("tmpfs", dir, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	notes, err := readAll(dir)
	require.NoError(t, err)
	assert.Len(t, notes, 1)
	_, err = Open(dir, Options{Holder: testHolder(1)})
	requireMachine(t, err, dir, "is read-only")
}
