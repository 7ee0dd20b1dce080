package store

import (
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

var testTime = time.Date(2026, 11, 25, 17, 31, 2, 0, time.UTC)

func openTest(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(dir, Options{Holder: testHolder(4711)})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

func openTestReader(t testing.TB, dir string) *Store {
	t.Helper()
	s, err := Open(dir, Options{ReadOnly: true, TempDir: t.TempDir()})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	return s
}

// filled returns a folder with a closed log of n answers.
func filled(t testing.TB, n int64) string {
	t.Helper()
	dir := t.TempDir()
	s, err := Open(dir, Options{Holder: testHolder(1)})
	require.NoError(t, err)
	for i := range n {
		require.NoError(t, answer(s, i, i))
	}
	require.NoError(t, s.Close())
	return dir
}

func TestSettings(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, t.TempDir())
	want := map[string]string{
		"journal_mode": "wal", "synchronous": "2", "fullfsync": "1", "checkpoint_fullfsync": "1",
		"foreign_keys": "1", "busy_timeout": "5000", "trusted_schema": "0", "cell_size_check": "1",
		"application_id": "1213616198", "user_version": "1", // 0x48565046, "HVPF"
	}
	for pragma, value := range want {
		var got string
		require.NoError(t, s.db.QueryRow("PRAGMA "+pragma).Scan(&got), pragma)
		assert.Equal(t, value, got, pragma)
	}
	t.Run("a pragma that does not exist is noticed", func(t *testing.T) {
		var got string
		assert.Error(t, s.db.QueryRow("PRAGMA strict_types").Scan(&got))
	})
	t.Run("_txlock: a transaction has the write lock at once", func(t *testing.T) {
		tx, err := s.db.BeginTx(ctx, nil)
		require.NoError(t, err)
		defer tx.Rollback()
		other, err := connect(ctx, s.path, false, "mode=rw", "_busy_timeout=0")
		require.NoError(t, err)
		defer other.Close()
		_, err = other.Exec("PRAGMA busy_timeout = 0")
		require.NoError(t, err)
		_, err = other.BeginTx(ctx, nil)
		require.Error(t, err)
		what, _ := explain(err)
		assert.Equal(t, "another program has the database locked", what)
	})
	t.Run("_defensive: the schema cannot be written by hand", func(t *testing.T) {
		_, err := s.db.Exec("PRAGMA writable_schema = ON")
		require.NoError(t, err)
		var got string
		require.NoError(t, s.db.QueryRow("PRAGMA writable_schema").Scan(&got))
		assert.Equal(t, "0", got)
	})
	t.Run("_dqs: a misspelt column is an error", func(t *testing.T) {
		var got string
		assert.ErrorContains(t, s.db.QueryRow(`SELECT "orign" FROM log`).Scan(&got), "no such column")
	})
	t.Run("STRICT: a text is not a number", func(t *testing.T) {
		_, err := s.db.Exec(`INSERT INTO log (origin, size, checkpoint) VALUES ('x', 'many', '')`)
		assert.ErrorContains(t, err, "cannot store TEXT value in INTEGER column log.size")
	})
	t.Run("foreign_keys: no entry without its log", func(t *testing.T) {
		_, err := s.db.Exec(`INSERT INTO entry (origin, "index", hashes, note) VALUES ('nowhere', 0, x'', '')`)
		assert.ErrorContains(t, err, "FOREIGN KEY")
	})
	t.Run("a setting that is off is noticed", func(t *testing.T) {
		_, err := s.db.Exec("PRAGMA synchronous = NORMAL")
		require.NoError(t, err)
		assert.ErrorContains(t, checkSettings(ctx, s.db, true), "SQLite has synchronous = 1, want 2")
	})
}

func TestAppendOnly(t *testing.T) {
	s := openTest(t, filled(t, 3))
	for statement, want := range map[string]string{
		`UPDATE entry SET note = 'other'`:                                               "an entry is never changed",
		`DELETE FROM entry WHERE "index" = 2`:                                           "an entry is never deleted",
		`INSERT OR REPLACE INTO entry SELECT origin, 2, hashes, '' FROM entry LIMIT 1`:  "not the next entry",
		`INSERT INTO entry SELECT origin, 4, hashes, note FROM entry WHERE "index" = 0`: "not the next entry",
		`UPDATE log SET size = 2`:                                                       "a log only grows",
		`UPDATE log SET checkpoint = ''`:                                                "a log only grows",
		`UPDATE log SET origin = 'other', size = 4`:                                     "a log only grows",
		`DELETE FROM log`: "a log is never deleted",
		`INSERT OR REPLACE INTO log SELECT origin, 0, '' FROM log`: "a log begins empty and once",
	} {
		_, err := s.db.Exec(statement)
		assert.ErrorContains(t, err, "append-only: "+want, statement)
	}
	notes, err := checkChain(s)
	require.NoError(t, err)
	assert.Len(t, notes, 3)
}

func TestAppendRefusesWhatDoesNotFit(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, t.TempDir())
	assert.Error(t, s.Append(ctx, chainOrigin, 0, nil, nil, nil), "no notes")
	assert.Error(t, s.Append(ctx, chainOrigin, 0, [][]byte{{'a'}}, nil, nil), "no hashes")
	assert.Error(t, s.Append(ctx, chainOrigin, -1, [][]byte{{'a'}}, nil, nil), "negative size")
	assert.ErrorIs(t, s.Append(ctx, chainOrigin, 1, [][]byte{{'a'}}, make([]tlog.Hash, 2), nil), ledger.ErrMoved, "not begun yet")
	origins, err := s.Origins(ctx)
	require.NoError(t, err)
	assert.Empty(t, origins, "an append that was refused leaves nothing behind")

	ended, cancel := context.WithCancel(ctx)
	cancel()
	assert.ErrorIs(t, s.Append(ended, chainOrigin, 0, [][]byte{{'a'}}, make([]tlog.Hash, 1), nil), context.Canceled)
}

func TestMigration(t *testing.T) {
	ctx := context.Background()
	steps, err := migrations()
	require.NoError(t, err)
	next := append(steps[:len(steps):len(steps)], `CREATE TABLE cosignature (origin TEXT NOT NULL REFERENCES log (origin), line TEXT NOT NULL) STRICT`)
	broken := append(steps[:len(steps):len(steps)], `CREATE TABLE half (x TEXT) STRICT; CREATE TABLE half (x TEXT) STRICT`)

	t.Run("a step that fails leaves nothing behind", func(t *testing.T) {
		s := openTest(t, filled(t, 2))
		require.ErrorContains(t, migrate(ctx, s.db, broken), "schema 2")
		i, err := readIdentity(ctx, s.db)
		require.NoError(t, err)
		assert.Equal(t, len(steps), i.version)
		var n int
		require.NoError(t, s.db.QueryRow(`SELECT count(*) FROM sqlite_schema WHERE name = 'half'`).Scan(&n))
		assert.Zero(t, n)
	})
	t.Run("a step keeps what is there", func(t *testing.T) {
		s := openTest(t, filled(t, 2))
		require.NoError(t, migrate(ctx, s.db, next))
		require.NoError(t, migrate(ctx, s.db, next), "a second time does nothing")
		i, err := readIdentity(ctx, s.db)
		require.NoError(t, err)
		assert.Equal(t, len(next), i.version)
		notes, err := checkChain(s)
		require.NoError(t, err)
		assert.Len(t, notes, 2)
	})
	t.Run("a later version is refused and left as it is", func(t *testing.T) {
		dir := filled(t, 2)
		s := openTest(t, dir)
		require.NoError(t, migrate(ctx, s.db, next))
		require.NoError(t, s.Close())
		path := filepath.Join(dir, databaseFile)
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		for _, readOnly := range []bool{false, true} {
			_, err = Open(dir, Options{ReadOnly: readOnly})
			require.Error(t, err)
			assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
			assert.ErrorContains(t, err, path+": has version 2, this program knows versions up to 1")
		}
		after, err := os.ReadFile(path)
		require.NoError(t, err)
		assert.Equal(t, before, after)
	})
}

func TestOpenAbsent(t *testing.T) {
	_, err := Open(filepath.Join(t.TempDir(), "nowhere"), Options{})
	assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
	assert.ErrorContains(t, err, "is not a folder")

	dir := t.TempDir()
	_, err = Open(dir, Options{ReadOnly: true})
	assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
	assert.True(t, errors.Is(err, fs.ErrNotExist))
	assert.ErrorContains(t, err, "there is no log here")
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Empty(t, left, "looking leaves nothing behind")
}

func TestFolderNames(t *testing.T) {
	for _, name := range []string{"a?mode=memory", "b#c", "d%20e", "f 'g' \"h\"", "i;j&k=l", "Ω µ", "ends in -wal"} {
		dir := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.Mkdir(dir, 0o755))
		s := openTest(t, dir)
		require.NoError(t, answer(s, 0, 0), name)
		require.NoError(t, s.Close())
		assert.FileExists(t, filepath.Join(dir, databaseFile))
		notes, err := checkChain(openTestReader(t, dir))
		require.NoError(t, err, name)
		assert.Len(t, notes, 1, name)
	}
}

func TestCloseLeavesOneFile(t *testing.T) {
	dir := filled(t, 20)
	for _, suffix := range companions {
		assert.NoFileExists(t, filepath.Join(dir, databaseFile+suffix))
	}
	copied := t.TempDir()
	require.NoError(t, copyFile(filepath.Join(copied, databaseFile), filepath.Join(dir, databaseFile)))
	notes, err := checkChain(openTestReader(t, copied))
	require.NoError(t, err)
	assert.Len(t, notes, 20)
}

// A copy of the database alone, made while a program writes, may lack answers,
// but what it has is a whole earlier log.
func TestCopyWhileOpen(t *testing.T) {
	dir := filled(t, 5)
	s := openTest(t, dir)
	for i := range int64(7) {
		require.NoError(t, answer(s, 5+i, 5+i))
	}
	copied := t.TempDir()
	require.NoError(t, copyFile(filepath.Join(copied, databaseFile), filepath.Join(dir, databaseFile)))
	notes, err := checkChain(openTestReader(t, copied))
	require.NoError(t, err)
	assert.Len(t, notes, 5)
	notes, err = checkChain(s)
	require.NoError(t, err)
	assert.Len(t, notes, 12)
}

func TestAfterClose(t *testing.T) {
	s := openTest(t, filled(t, 1))
	require.NoError(t, s.Close())
	_, err := s.Size(context.Background(), chainOrigin)
	assert.Error(t, err)
	assert.Error(t, answer(s, 1, 1))
}

func TestCheck(t *testing.T) {
	ctx := context.Background()
	assert.NoError(t, openTestReader(t, filled(t, 5)).Check(ctx))
	for statement, want := range map[string]string{
		`UPDATE log SET size = size - 1`: "a log has another number of entries than it says",
		`UPDATE log SET origin = 'x'`:    "an entry has no log",
	} {
		s := openTest(t, filled(t, 5))
		_, err := s.db.Exec(`PRAGMA foreign_keys = OFF; DROP TRIGGER log_grows; ` + statement)
		require.NoError(t, err)
		requireMachine(t, s.Check(ctx), s.path, want)
	}
	s := openTest(t, filled(t, 200))
	path := s.path
	require.NoError(t, s.Close())
	f, err := os.OpenFile(path, os.O_WRONLY, 0)
	require.NoError(t, err)
	_, err = f.WriteAt(make([]byte, 3000), 40_000)
	require.NoError(t, err)
	require.NoError(t, f.Close())
	requireMachine(t, openTestReader(t, filepath.Dir(path)).Check(ctx), path, "the database is damaged")
}
