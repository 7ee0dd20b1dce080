package store

import (
	"context"
	"database/sql"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"

	"modernc.org/sqlite"
)

// busyMilliseconds is how long a statement waits for another program that has
// the database locked, such as SQLite's own shell in the midst of a change.
const busyMilliseconds = 5000

// setting is a pragma that every connection gets, and the value that SQLite must
// read back. SQLite takes an unknown pragma in silence, so [checkSettings] asks.
type setting struct {
	pragma string
	want   string
	writer bool // for the writing connection only
}

var settings = []setting{
	{"journal_mode", "wal", true},       // an answer is one synchronised write, and readers go on
	{"synchronous", "2", true},          // FULL: a commit that returned survives a power cut
	{"fullfsync", "1", true},            // macOS: through the disk's own cache as well
	{"checkpoint_fullfsync", "1", true}, // the same for checkpoints of the write-ahead log
	{"foreign_keys", "1", true},         // no entry without its log
	{"busy_timeout", fmt.Sprint(busyMilliseconds), false},
	{"trusted_schema", "0", false},  // a hostile file's schema runs no functions with effects
	{"cell_size_check", "1", false}, // damaged pages are noticed when they are read
	{"writable_schema", "0", false}, // held off by _defensive
}

// connection returns the connection string of the database file at path, an
// absolute path. extra are further parameters of SQLite, such as mode=ro.
func connection(path string, writer bool, extra ...string) string {
	parameters := append([]string{
		"_txlock=immediate", // a transaction takes the write lock at once, never half way
		"_defensive=1",      // no statement can damage the file on purpose
		"_dqs=0",            // "misspelt" is an error, never a text
		"_error_rc=1",       // messages that belong to the error's code
	}, extra...)
	for _, s := range settings {
		if writer || !s.writer {
			parameters = append(parameters, "_pragma="+s.pragma+"("+s.want+")")
		}
	}
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // C:/cars becomes /C:/cars, as SQLite wants it
	}
	return "file://" + (&url.URL{Path: slashed}).EscapedPath() + "?" + strings.Join(parameters, "&")
}

// readers is how many connections a folder that is read has: [ledger.Verify]
// reads several ranges at once.
const readers = 4

// connect opens the database. A writer has a single connection; that is enough
// since nothing here calls back while it reads, so none can wait for itself.
func connect(ctx context.Context, path string, writer bool, extra ...string) (*sql.DB, error) {
	connector, err := sqlite.NewConnector(connection(path, writer, extra...))
	if err != nil {
		return nil, err
	}
	db := sql.OpenDB(connector)
	connections := readers
	if writer {
		connections = 1
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	if err := checkSettings(ctx, db, writer); err != nil {
		db.Close()
		return nil, err
	}
	return db, nil
}

// checkSettings reads every setting back from SQLite.
func checkSettings(ctx context.Context, q querier, writer bool) error {
	for _, s := range settings {
		if s.writer && !writer {
			continue
		}
		var got string
		if err := q.QueryRowContext(ctx, "PRAGMA "+s.pragma).Scan(&got); err != nil {
			return fmt.Errorf("reading %s: %w", s.pragma, err)
		}
		if got != s.want {
			return fmt.Errorf("SQLite has %s = %s, want %s", s.pragma, got, s.want)
		}
	}
	return nil
}
