package store

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"hvproof/internal/diag"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// SQLite reads a database in write-ahead mode only after making two files beside
// it, and asks for a writable folder to do so. A scrutineer's stick is neither,
// and looking must not leave traces. So there are three ways to read:
//
//   - Somebody writes: the files are there and are used, as SQLite means it.
//   - Nobody writes and the write-ahead log is empty: the database alone is the
//     whole log, and SQLite is told that it will not change. Should a writer
//     start meanwhile, the change is noticed after each reading, and what was
//     read is thrown away with an error.
//   - Nobody writes and something is left beside the database, since its writer
//     was killed: a private copy is made elsewhere, and mended there.
//
// Which one it is can change while it is found out; then it is tried again.
const (
	readerTries = 10
	readerPause = 20 * time.Millisecond
)

// companions are the files that belong to a database beside itself.
var companions = []string{"-wal", "-journal"}

// errChanging says that a file changed while it was looked at.
var errChanging = errors.New("the database is being changed")

// openReader opens the logs of a folder for reading.
func openReader(dir, tempDir string) (*Store, error) {
	ctx := context.Background()
	path := filepath.Join(dir, databaseFile)
	steps, err := migrations()
	if err != nil {
		return nil, fault(err, path, "reading the schema")
	}
	var s *Store
	for range readerTries {
		s, err = tryReader(ctx, dir, path, tempDir)
		if !errors.Is(err, errChanging) && !cannotOpen(err) {
			break
		}
		time.Sleep(readerPause)
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil, absent(path)
	}
	if err != nil {
		return nil, fault(err, path, "opening for reading")
	}
	i, err := readIdentity(ctx, s.db)
	if err != nil {
		return nil, errors.Join(fault(err, path, "opening for reading"), s.Close())
	}
	switch err := i.check(path, len(steps)); {
	case err != nil:
		return nil, errors.Join(err, s.Close())
	case i.isEmpty():
		return nil, errors.Join(absent(path), s.Close())
	case i.version < len(steps):
		return nil, errors.Join(behind(path, i.version, len(steps)), s.Close())
	}
	return s, nil
}

// tryReader makes one attempt in the way that fits the folder at this moment.
func tryReader(ctx context.Context, dir, path, tempDir string) (*Store, error) {
	s := &Store{dir: dir, path: path, readOnly: true}
	leased, err := isLeased(dir)
	if err != nil {
		return nil, err
	}
	before, err := look(path)
	if err != nil {
		return nil, err
	}
	switch {
	case leased:
		s.db, err = connect(ctx, path, false, "mode=ro")
	case !before.hasCompanion():
		s.still = &before
		s.db, err = connect(ctx, path, false, "mode=ro", "immutable=1")
	default:
		err = s.connectCopy(ctx, before, tempDir)
	}
	if err != nil {
		return nil, err
	}
	return s, nil
}

// connectCopy reads a private copy of the database and what lies beside it.
func (s *Store) connectCopy(ctx context.Context, before snapshot, tempDir string) (err error) {
	if s.copy, err = os.MkdirTemp(tempDir, "hvproof-"); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(s.copy))
		}
	}()
	mine := filepath.Join(s.copy, databaseFile)
	for _, suffix := range append([]string{""}, companions...) {
		err := copyFile(mine+suffix, s.path+suffix)
		if err != nil && !(suffix != "" && errors.Is(err, fs.ErrNotExist)) {
			return err
		}
	}
	after, err := look(s.path)
	if err != nil {
		return err
	}
	if !after.equal(before) {
		return errChanging
	}
	s.db, err = connect(ctx, mine, false, "mode=rw")
	return err
}

// copyFile copies a file. It is not for a database that this process writes to:
// closing any descriptor of a file drops the POSIX locks, SQLite's among them,
// that the process has on it.
func copyFile(to, from string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// cannotOpen reports whether SQLite missed a file that a writer, just ending,
// took away.
func cannotOpen(err error) bool {
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xff == sqlite3.SQLITE_CANTOPEN
}

// snapshot is what the file system says about a database and its companions.
type snapshot struct {
	database   stamp
	companions [2]stamp // of the zero value where there is no such file
}

type stamp struct {
	size    int64
	changed time.Time
}

func look(path string) (snapshot, error) {
	var s snapshot
	var err error
	if s.database, err = stampOf(path); err != nil {
		return s, err
	}
	for i, suffix := range companions {
		s.companions[i], err = stampOf(path + suffix)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return s, err
		}
	}
	return s, nil
}

func stampOf(path string) (stamp, error) {
	info, err := os.Stat(path)
	if err != nil {
		return stamp{}, err
	}
	if !info.Mode().IsRegular() {
		return stamp{}, errIrregular
	}
	return stamp{info.Size(), info.ModTime()}, nil
}

func (s stamp) equal(t stamp) bool { return s.size == t.size && s.changed.Equal(t.changed) }

func (s snapshot) equal(t snapshot) bool {
	return s.database.equal(t.database) && s.companions[0].equal(t.companions[0]) && s.companions[1].equal(t.companions[1])
}

// hasCompanion reports whether something is beside the database that belongs to it.
func (s snapshot) hasCompanion() bool {
	return s.companions[0].size > 0 || s.companions[1].size > 0
}

// unchanged returns an error if the database was changed under a reader that
// relies on its standing still. It is called after each reading.
func (s *Store) unchanged() error {
	if s.still == nil {
		return nil
	}
	now, err := stampOf(s.path)
	if err != nil {
		return fault(err, s.path, "reading")
	}
	if !now.equal(s.still.database) {
		return diag.Machine("run the command again", "%s: another program changed it while it was read", s.path)
	}
	return nil
}
