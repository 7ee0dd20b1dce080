package store

import (
	"context"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// listing returns name, size, mode and time of change of everything in a folder.
func listing(t *testing.T, dir string) []string {
	t.Helper()
	var all []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		all = append(all, fmt.Sprint(path, " ", info.Size(), " ", info.Mode(), " ", info.ModTime().UnixNano()))
		return nil
	})
	require.NoError(t, err)
	return all
}

func TestReaderLeavesNoTraces(t *testing.T) {
	dir := filled(t, 4)
	before := listing(t, dir)
	s := openTestReader(t, dir)
	notes, err := checkChain(s)
	require.NoError(t, err)
	assert.Len(t, notes, 4)
	require.NoError(t, s.Close())
	assert.Equal(t, before, listing(t, dir))
}

func TestReaderWritesNothing(t *testing.T) {
	s := openTestReader(t, filled(t, 1))
	err := answer(s, 1, 1)
	assert.ErrorContains(t, err, "was opened for reading only")
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
	assert.ErrorContains(t, extend(s, 1, []byte("x")), "was opened for reading only")
}

func TestReaderWhileSomebodyWrites(t *testing.T) {
	dir := filled(t, 2)
	w := openTest(t, dir)
	r := openTestReader(t, dir)
	for i := int64(2); i < 6; i++ {
		require.NoError(t, answer(w, i, i))
		notes, err := checkChain(r)
		require.NoError(t, err)
		assert.Len(t, notes, int(i)+1)
	}
	require.NoError(t, w.Close(), "a reader does not hold up the end")
	_, err := checkChain(r)
	require.NoError(t, err)
	copied := t.TempDir() // without what lies beside it
	require.NoError(t, copyFile(filepath.Join(copied, databaseFile), filepath.Join(dir, databaseFile)))
	notes, err := checkChain(openTestReader(t, copied))
	require.NoError(t, err)
	assert.Len(t, notes, 6, "also with a reader about, the database alone is the whole log")
}

// A reader that relied on the file's standing still says so when it does not.
func TestReaderNoticesAWriterThatStarts(t *testing.T) {
	dir := filled(t, 2)
	r := openTestReader(t, dir)
	require.NotNil(t, r.still)
	w := openTest(t, dir)
	require.NoError(t, answer(w, 2, 2))
	notes, err := checkChain(r)
	require.NoError(t, err, "the change is beside the database still")
	assert.Len(t, notes, 2)
	require.NoError(t, w.Close()) // now it is in it
	_, err = r.Size(context.Background(), chainOrigin)
	assert.ErrorContains(t, err, "another program changed it while it was read")
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
	assert.ErrorContains(t, r.ReadEntries(context.Background(), chainOrigin, 0, 2, func(int64, []byte) error {
		t.Error("an entry of a changing file was handed out")
		return nil
	}), "another program changed it")
}

func TestReaderAfterAKilledWriter(t *testing.T) {
	dir := t.TempDir()
	c := startChild(t, dir, "append")
	for i := range 5 {
		c.waitFor(t, "acknowledged "+strconv.Itoa(i))
	}
	c.kill(t)
	info, err := os.Stat(filepath.Join(dir, databaseFile+"-wal"))
	require.NoError(t, err)
	require.Positive(t, info.Size(), "the killed writer left its answers beside the database")

	before := listing(t, dir)
	temp := t.TempDir()
	r, err := Open(dir, Options{ReadOnly: true, TempDir: temp})
	require.NoError(t, err)
	notes, err := checkChain(r)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(notes), 5)
	require.NoError(t, r.Close())
	assert.Equal(t, before, listing(t, dir))
	left, err := os.ReadDir(temp)
	require.NoError(t, err)
	assert.Empty(t, left, "the private copy is gone")
}

// readUnprivileged reads a folder in a process that the permissions bind.
func readUnprivileged(t *testing.T, dir string) {
	t.Helper()
	binary := filepath.Join(publicFolder(t), "store.test")
	self, err := os.Executable()
	require.NoError(t, err)
	require.NoError(t, copyFile(binary, self))
	require.NoError(t, os.Chmod(binary, 0o755))
	command := exec.Command(binary)
	dropPrivileges(command)
	c := startProgram(t, command, dir, "read")
	c.waitFor(t, "notes 3")
	require.NoError(t, c.command.Wait())
}

// publicFolder is a temporary folder that every user can read.
func publicFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "hvproof-test-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() {
		makeTree(t, dir, 0o755, 0o644)
		assert.NoError(t, os.RemoveAll(dir))
	})
	return dir
}

// makeTree gives all folders and files below dir these permissions.
func makeTree(t *testing.T, dir string, folder, file fs.FileMode) {
	t.Helper()
	require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir():
			return os.Chmod(path, folder)
		}
		return os.Chmod(path, file)
	}))
}

func TestReadOnlyFolder(t *testing.T) {
	t.Run("at rest", func(t *testing.T) {
		dir := publicFolder(t)
		s, err := Open(dir, Options{Holder: testHolder(1)})
		require.NoError(t, err)
		for i := range int64(3) {
			require.NoError(t, answer(s, i, i))
		}
		require.NoError(t, s.Close())
		makeTree(t, dir, 0o555, 0o444)
		readUnprivileged(t, dir)
	})
	t.Run("while somebody writes", func(t *testing.T) {
		dir := publicFolder(t)
		s, err := Open(dir, Options{Holder: testHolder(1)})
		require.NoError(t, err)
		for i := range int64(3) {
			require.NoError(t, answer(s, i, i))
		}
		makeTree(t, dir, 0o555, 0o444)
		readUnprivileged(t, dir)
		require.NoError(t, s.Close())
	})
	t.Run("after a killed writer", func(t *testing.T) {
		dir := publicFolder(t)
		w, err := openWriter(dir)
		require.NoError(t, err)
		for i := range int64(3) {
			require.NoError(t, answer(w, i, i))
		}
		left := publicFolder(t) // what a killed writer leaves: its files, and nobody
		for _, suffix := range []string{"", "-wal"} {
			require.NoError(t, copyFile(filepath.Join(left, databaseFile+suffix), filepath.Join(dir, databaseFile+suffix)))
		}
		require.NoError(t, w.Close())
		makeTree(t, left, 0o555, 0o444)
		readUnprivileged(t, left)
	})
}
