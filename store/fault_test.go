package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// requireMachine requires an error of class Machine that names the file, says
// want, and has a hint.
func requireMachine(t *testing.T, err error, path, want string) {
	t.Helper()
	require.Error(t, err)
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err), "%v", err)
	assert.ErrorContains(t, err, path)
	assert.ErrorContains(t, err, want)
	assert.NotEmpty(t, diag.HintOf(err), "%v", err)
}

// openBoth opens a folder for writing and for reading, which must both fail in
// the same way and leave the database as it is.
func openBoth(t *testing.T, dir, want string) {
	t.Helper()
	path := filepath.Join(dir, databaseFile)
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	for _, readOnly := range []bool{false, true} {
		_, err := Open(dir, Options{ReadOnly: readOnly, Holder: testHolder(1), TempDir: t.TempDir()})
		requireMachine(t, err, path, want)
	}
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.Equal(t, before, after, "the file was changed")
}

func TestNotSQLite(t *testing.T) {
	dir := t.TempDir()
	text := make([]byte, 20_000)
	copy(text, "isolation of the left pack: 45.4 MΩ\n")
	require.NoError(t, os.WriteFile(filepath.Join(dir, databaseFile), text, 0o644))
	openBoth(t, dir, "is not a SQLite database")
}

func TestAnotherProgramsDatabase(t *testing.T) {
	dir := t.TempDir()
	db, err := connect(context.Background(), filepath.Join(dir, databaseFile), false, "mode=rwc")
	require.NoError(t, err)
	_, err = db.Exec("CREATE TABLE lap_times (lap INTEGER)")
	require.NoError(t, err)
	require.NoError(t, db.Close())
	openBoth(t, dir, "is a database of another program")
}

func TestTruncatedDatabase(t *testing.T) {
	dir := filled(t, 50)
	path := filepath.Join(dir, databaseFile)
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.NoError(t, os.Truncate(path, info.Size()/2))
	r, err := Open(dir, Options{ReadOnly: true})
	if err == nil {
		_, err = checkChain(r)
		assert.NoError(t, r.Close())
	}
	requireMachine(t, err, path, "the database is damaged")
}

func TestFolderInPlaceOfDatabase(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, databaseFile), 0o755))
	for _, readOnly := range []bool{false, true} {
		_, err := Open(dir, Options{ReadOnly: readOnly, Holder: testHolder(1)})
		require.Error(t, err)
		assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
		assert.ErrorContains(t, err, databaseFile)
	}
}

func TestLockedByAnotherProgram(t *testing.T) {
	s := openTest(t, filled(t, 2))
	_, err := s.db.Exec("PRAGMA busy_timeout = 50") // a test need not wait five seconds
	require.NoError(t, err)
	shell, err := connect(context.Background(), s.path, false, "mode=rw")
	require.NoError(t, err)
	defer shell.Close()
	_, err = shell.Exec("BEGIN IMMEDIATE")
	require.NoError(t, err)
	requireMachine(t, answer(s, 2, 2), s.path, "another program has the database locked")
	_, err = shell.Exec("ROLLBACK")
	require.NoError(t, err)
	require.NoError(t, answer(s, 2, 2), "nothing was lost, and it goes on")
}

// SQLite answers SQLITE_FULL when the database may not grow, as it does when the
// disk is full. full_test.go does it with a real disk.
func TestFullDisk(t *testing.T) {
	s := openTest(t, filled(t, 2))
	var pages int
	require.NoError(t, s.db.QueryRow("PRAGMA page_count").Scan(&pages))
	limit := func(n int) {
		_, err := s.db.Exec(fmt.Sprintf("PRAGMA max_page_count = %d", n))
		require.NoError(t, err)
	}
	limit(pages)
	size := int64(2)
	var err error
	for err == nil && size < 1000 {
		if err = answer(s, size, size); err == nil {
			size++
		}
	}
	requireMachine(t, err, s.path, "the disk is full")
	require.NoError(t, s.Check(context.Background()))
	notes, err := checkChain(s)
	require.NoError(t, err)
	assert.Len(t, notes, int(size), "what was acknowledged is there, and nothing else")
	limit(1 << 30)
	require.NoError(t, answer(s, size, size))
	notes, err = checkChain(s)
	require.NoError(t, err)
	assert.Len(t, notes, int(size)+1)
}

// A log in which single bytes were changed at random is an error, or does not add
// up, or (where the byte means nothing) holds exactly what was written.
func TestRandomDamage(t *testing.T) {
	dir := filled(t, 40)
	r := openTestReader(t, dir)
	want, err := checkChain(r)
	require.NoError(t, err)
	whole, err := os.ReadFile(filepath.Join(dir, databaseFile))
	require.NoError(t, err)
	seed := uint64(testTime.Unix())
	random := rand.New(rand.NewPCG(seed, seed))
	noticed := 0
	damaged := t.TempDir()
	path := filepath.Join(damaged, databaseFile)
	for range 400 {
		bytes := append([]byte(nil), whole...)
		for range 1 + random.IntN(4) {
			bytes[random.IntN(len(bytes))] ^= byte(1 + random.IntN(255))
		}
		require.NoError(t, os.WriteFile(path, bytes, 0o644))
		got, err := readAll(damaged)
		if err != nil {
			noticed++
			continue
		}
		require.Equal(t, want, got, "a changed log was taken for whole")
	}
	assert.Greater(t, noticed, 100, "too little damage to say anything")
}

// readAll opens a folder for reading and returns the notes if they add up.
func readAll(dir string) (notes [][]byte, err error) {
	s, err := Open(dir, Options{ReadOnly: true})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	return checkChain(s)
}

func TestFaultKeepsWhatHasAClass(t *testing.T) {
	assert.NoError(t, fault(nil, "p", "d"))
	bad := diag.Bad("", "bad")
	assert.Same(t, bad, fault(bad, "p", "d").(*diag.Error))
	assert.ErrorIs(t, fault(context.Canceled, "p", "d"), context.Canceled)
	for err, want := range map[error]string{
		&fs.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}: "the disk is full",
		&fs.PathError{Op: "open", Path: "x", Err: syscall.EROFS}:   "read-only",
		&fs.PathError{Op: "open", Path: "x", Err: syscall.EACCES}:  "read-only",
		&fs.PathError{Op: "read", Path: "x", Err: syscall.EIO}:     "the disk failed",
	} {
		requireMachine(t, fault(err, "p", "d"), "p: d: ", want)
		assert.ErrorIs(t, fault(err, "p", "d"), err)
	}
	odd := fault(errors.New("odd"), "p", "d")
	assert.EqualError(t, odd, "p: d: failed: odd")
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(odd))
}
