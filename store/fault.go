package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"hvproof/internal/diag"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// fault turns an error of SQLite or of the file system into one that names the
// file, says in plain words what is wrong, and what to do. It is of class
// Machine; errors that have a class already, and the end of a context, stay.
func fault(err error, path, doing string) error {
	var classed *diag.Error
	if err == nil || errors.As(err, &classed) || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	what, hint := explain(err)
	if what == "" {
		what = "failed"
	}
	e := diag.Machine(hint, "%s: %s: %s", path, doing, what)
	e.Err = err
	return e
}

const (
	hintFull     = "free some space and run the command again; what was recorded before is whole, this was not recorded"
	hintDamaged  = "do not write to it: keep this file, look at the disk, and go on from a bundle or a copy that verifies"
	hintReadOnly = "give yourself the right to write to the folder, or copy it to where you have it; verify, log and ready only read"
	hintBusy     = "close the other program that has the file open, and run the command again"
	hintDisk     = "look at the disk and its cable before going on; what was acknowledged before is in the log"
)

// explain returns plain words and a hint for the errors that people meet.
func explain(err error) (what, hint string) {
	var s *sqlite.Error
	if errors.As(err, &s) {
		switch s.Code() & 0xff { // the primary code, https://sqlite.org/rescode.html
		case sqlite3.SQLITE_FULL:
			return "the disk is full", hintFull
		case sqlite3.SQLITE_CORRUPT:
			return "the database is damaged", hintDamaged
		case sqlite3.SQLITE_NOTADB:
			return "is not a SQLite database, or its beginning is damaged", hintDamaged
		case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
			return "another program has the database locked", hintBusy
		case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH:
			return "no permission, or the file or its folder is read-only", hintReadOnly
		case sqlite3.SQLITE_CANTOPEN:
			return "the database cannot be opened", hintReadOnly
		case sqlite3.SQLITE_IOERR:
			return "the disk failed to read or write", hintDisk
		}
		return "", ""
	}
	switch {
	case isFull(err):
		return "the disk is full", hintFull
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		return "no permission, or the file or its folder is read-only", hintReadOnly
	case errors.Is(err, syscall.EIO):
		return "the disk failed to read or write", hintDisk
	}
	return "", ""
}

// refusedVersion says that the database was written by a later program.
func refusedVersion(path string, has, knows int) error {
	return diag.Bad("use the program that wrote it, or a later one; nothing was changed",
		"%s: has version %d, this program knows versions up to %d", path, has, knows)
}

// foreign says that a database is not one of ours.
func foreign(path string, i identity) error {
	return diag.Machine("a car folder has its own hvproof.db; move this file away if it came here by mistake",
		"%s: is a database of another program (application id %#x, %d tables)", path, uint32(i.application), i.tables)
}

// behind says that a database has to be brought up to date before it is read.
func behind(path string, has, knows int) error {
	return diag.Machine("run a command that writes, such as hvproof run, in the folder once",
		"%s: has version %d, reading needs version %d", path, has, knows)
}

// absent says that a car folder has no log; errors.Is finds fs.ErrNotExist.
func absent(path string) error {
	e := diag.Bad("begin one with hvproof init, or name the right folder with -C", "%s: there is no log here", path)
	e.Err = fmt.Errorf("%w", fs.ErrNotExist)
	return e
}
