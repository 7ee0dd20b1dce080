package store

import (
	"context"
	"database/sql"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"

	"modernc.org/sqlite"
)

// databaseFile is the name of the database in a car folder.
const databaseFile = "hvproof.db"

var _ ledger.Storage = (*Store)(nil)

// Store is an open car folder. Its methods may be called from several
// goroutines at once.
type Store struct {
	dir     string // car folder, absolute
	path    string // of the database, in words to people
	db      *sql.DB
	lease   *lease // nil when reading
	writing        // statements, not prepared when reading

	closed   bool
	readOnly bool
	still    *snapshot // nil unless the file must not change while it is read
	copy     string    // folder of a private copy to delete, or ""

	testOnlyStall func() // called between the check and the commit of Append
}

// Options say how a car folder is opened.
type Options struct {
	ReadOnly bool   // for commands that only read; needs no lease
	Holder   Holder // who writes; named to the second who tries
	TempDir  string // for a copy of the database if its last writer was killed; "" is the system's
}

// Open opens the logs of the car folder dir. For writing, the database is made
// if it is not there, brought to the version of this program, and the folder's
// lease is taken; [Store.Close] gives it back.
//
// The errors are [diag.Error]s that name the file: class BadInput for a folder
// that is not there, for reading where there is no log yet (errors.Is finds
// fs.ErrNotExist) and for a database of a later version, which is left as it
// is; class Machine for a folder that somebody else writes to, and for a
// database that is damaged, not SQLite, another program's, read-only, locked, or
// on a full disk.
func Open(dir string, opt Options) (*Store, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fault(err, dir, "opening the car folder")
	}
	info, err := os.Stat(abs)
	switch {
	case errors.Is(err, fs.ErrNotExist) || err == nil && !info.IsDir():
		return nil, diag.Bad("make one with hvproof init, or name the right one with -C", "%s: is not a folder", dir)
	case err != nil:
		return nil, fault(err, dir, "opening the car folder")
	}
	useFdatasync()
	if opt.ReadOnly {
		return openReader(abs, opt.TempDir)
	}
	lease, err := takeLease(abs, opt.Holder)
	if err != nil {
		return nil, err
	}
	s, err := openWriter(abs)
	if err != nil {
		return nil, errors.Join(err, lease.release())
	}
	s.lease = lease
	return s, nil
}

// useFdatasync lets SQLite synchronise with fdatasync(2) where that exists. It is
// as durable as fsync(2), which SQLite's source falls back to when it was built
// without asking the system, and on a journaling file system takes half the
// time, since it does not wait for the time of change to be written.
func useFdatasync() {
	// The error says that the system has no fdatasync; fsync is used then.
	_, _ = sqlite.Fdatasync(true)
}

// openWriter opens the database for writing; the caller has the lease.
func openWriter(dir string) (*Store, error) {
	ctx := context.Background()
	s := &Store{dir: dir, path: filepath.Join(dir, databaseFile)}
	steps, err := migrations()
	if err != nil {
		return nil, fault(err, s.path, "reading the schema")
	}
	if err := removeUnfinished(dir); err != nil {
		return nil, fault(err, filepath.Join(dir, blobFolder), "clearing up")
	}
	// Before anything is written, also before the write-ahead log is switched on:
	// is it ours, and not from a later version?
	_, err = os.Stat(s.path)
	isNew := errors.Is(err, fs.ErrNotExist)
	if !isNew {
		if err := inspect(ctx, s.path, len(steps)); err != nil {
			return nil, err
		}
	}
	if s.db, err = connect(ctx, s.path, true, "mode=rwc"); err != nil {
		return nil, fault(err, s.path, "opening for writing")
	}
	if err := migrate(ctx, s.db, steps); err != nil {
		return nil, errors.Join(fault(err, s.path, "preparing the tables"), s.db.Close())
	}
	if err := s.writing.prepare(ctx, s.db); err != nil {
		return nil, errors.Join(fault(err, s.path, "opening for writing"), s.db.Close())
	}
	if isNew {
		// SQLite makes a database's contents durable, not its name.
		if err := syncFolder(dir); err != nil {
			return nil, errors.Join(fault(err, s.path, "opening for writing"), s.db.Close())
		}
	}
	return s, nil
}

// inspect refuses a database that is not ours or too new, without changing it.
func inspect(ctx context.Context, path string, known int) error {
	db, err := connect(ctx, path, false, "mode=ro")
	if err != nil {
		return fault(err, path, "opening")
	}
	defer db.Close()
	i, err := readIdentity(ctx, db)
	if err != nil {
		return fault(err, path, "opening")
	}
	return i.check(path, known)
}

// check refuses a database that is not ours or too new.
func (i identity) check(path string, known int) error {
	switch {
	case i.isEmpty():
		return nil
	case i.application != applicationID:
		return foreign(path, i)
	case i.version > known:
		return refusedVersion(path, i.version, known)
	}
	return nil
}

// Close ends the lease, after moving what is in the write-ahead log into the
// database, so that the file alone is the whole log. If a reader holds that up
// the answers stay in the write-ahead log, as durable as before. Closing twice
// does nothing; the other methods fail from then on.
func (s *Store) Close() error {
	if s.closed {
		return nil
	}
	s.closed = true
	var errs []error
	if s.lease != nil {
		if _, err := s.db.Exec("PRAGMA wal_checkpoint(TRUNCATE)"); err != nil {
			errs = append(errs, fault(err, s.path, "closing"))
		}
	}
	errs = append(errs, fault(s.db.Close(), s.path, "closing"))
	if s.copy != "" {
		errs = append(errs, fault(os.RemoveAll(s.copy), s.copy, "deleting a copy"))
	}
	if s.lease != nil { // last: only now may the next one write
		errs = append(errs, fault(s.lease.release(), s.dir, "closing"))
	}
	return errors.Join(errs...)
}

// Warnings returns sentences that a person should read before relying on this
// folder: it lies on a network file system. See also [NotRecognised].
func (s *Store) Warnings() []string {
	if w := networkWarning(s.dir); w != "" {
		return []string{w}
	}
	return nil
}

// checks are questions whose answer is ok for a database that is whole.
var checks = []string{
	`PRAGMA integrity_check(1)`,
	`SELECT coalesce((SELECT 'an entry has no log' FROM pragma_foreign_key_check), 'ok')`,
	`SELECT coalesce((SELECT 'a log has another number of entries than it says' FROM log
		WHERE size <> (SELECT count(*) FROM entry WHERE entry.origin = log.origin)), 'ok')`,
}

// Check asks SQLite whether the database is whole, which takes a time that grows
// with it. It says nothing about what the entries say: that is [ledger.Verify].
func (s *Store) Check(ctx context.Context) error {
	for _, question := range checks {
		var answer string
		if err := s.read(s.db.QueryRowContext(ctx, question).Scan(&answer)); err != nil {
			return err
		}
		if answer != "ok" {
			return diag.Machine(hintDamaged, "%s: the database is damaged: %s", s.path, answer)
		}
	}
	return nil
}

// mayWrite refuses to write where the folder was opened for reading.
func (s *Store) mayWrite() error {
	if s.readOnly {
		return diag.Machine("", "%s: was opened for reading only", s.path)
	}
	return nil
}
