package store

import (
	"context"
	"database/sql"
	"embed"
	"fmt"
	"io/fs"
)

// applicationID marks a database as ours: "HVPF" in ASCII. SQLite keeps it in
// the file's header, where file(1) can be told of it.
const applicationID = 0x48565046

//go:embed schema/*.sql
var schemaFiles embed.FS

// migrations returns the statements of schema/0001.sql, 0002.sql, … in order.
// The number of those applied is the database's user_version.
func migrations() ([]string, error) {
	names, err := fs.Glob(schemaFiles, "schema/*.sql")
	if err != nil {
		return nil, err
	}
	var all []string
	for i, name := range names {
		if want := fmt.Sprintf("schema/%04d.sql", i+1); name != want {
			return nil, fmt.Errorf("schema file %s, want %s", name, want)
		}
		text, err := schemaFiles.ReadFile(name)
		if err != nil {
			return nil, err
		}
		all = append(all, string(text))
	}
	return all, nil
}

// identity is what the header of a database says about it.
type identity struct {
	application, version int
	tables               int
}

// isEmpty reports whether nobody has made anything in the database yet.
func (i identity) isEmpty() bool {
	return i.application == 0 && i.version == 0 && i.tables == 0
}

// querier is a connection or a transaction.
type querier interface {
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

func readIdentity(ctx context.Context, q querier) (identity, error) {
	var i identity
	err := q.QueryRowContext(ctx, `SELECT
		(SELECT application_id FROM pragma_application_id),
		(SELECT user_version FROM pragma_user_version),
		(SELECT count(*) FROM sqlite_schema)`).Scan(&i.application, &i.version, &i.tables)
	return i, err
}

// migrate brings a database to the version len(steps). Each step and its version
// number are one transaction, so a step that fails leaves nothing behind.
func migrate(ctx context.Context, db *sql.DB, steps []string) error {
	for {
		done, err := migrateOne(ctx, db, steps)
		if done || err != nil {
			return err
		}
	}
}

// migrateOne applies the next step, and reports whether there was none left.
func migrateOne(ctx context.Context, db *sql.DB, steps []string) (done bool, err error) {
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return false, err
	}
	defer tx.Rollback() // without effect after Commit
	now, err := readIdentity(ctx, tx)
	if err != nil || now.version >= len(steps) {
		return true, err
	}
	if _, err := tx.ExecContext(ctx, steps[now.version]); err != nil {
		return false, fmt.Errorf("schema %d: %w", now.version+1, err)
	}
	header := fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = %d", applicationID, now.version+1)
	if _, err := tx.ExecContext(ctx, header); err != nil {
		return false, fmt.Errorf("schema %d: %w", now.version+1, err)
	}
	return false, tx.Commit()
}
