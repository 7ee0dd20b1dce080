package store

import (
	"context"
	"database/sql"
	"fmt"

	"hvproof/internal/ledger"

	"golang.org/x/mod/sumdb/tlog"
)

// writing are the statements of Append, prepared once: to parse them each time
// would take a third of the time of an answer.
type writing struct{ begin, advance, entry *sql.Stmt }

func (w *writing) prepare(ctx context.Context, db *sql.DB) (err error) {
	for _, p := range []struct {
		into *(*sql.Stmt)
		text string
	}{
		{&w.begin, `INSERT INTO log (origin, size, checkpoint)
			SELECT ?1, 0, '' WHERE NOT EXISTS (SELECT 1 FROM log WHERE origin = ?1)`},
		{&w.advance, `UPDATE log SET size = ?, checkpoint = ? WHERE origin = ? AND size = ?`},
		{&w.entry, `INSERT INTO entry (origin, "index", hashes, note) VALUES (?, ?, ?, ?)`},
	} {
		if *p.into, err = db.PrepareContext(ctx, p.text); err != nil {
			return err
		}
	}
	return nil
}

// Append adds entries with their tree hashes and the checkpoint that covers them
// to a log that has expected entries, all or nothing, and returns once they are
// durable. A log that has another number of entries is left as it is, and the
// error is [ledger.ErrMoved]. A log that is not there yet has none.
//
// Once the transaction has begun it is carried through even if ctx ends, so that
// the answer is what happened.
func (s *Store) Append(ctx context.Context, origin string, expected int64, notes [][]byte, hashes []tlog.Hash, checkpoint []byte) error {
	if err := s.mayWrite(); err != nil {
		return err
	}
	if expected < 0 || len(notes) == 0 || origin == "" {
		return fmt.Errorf("%s: %d entries to append to %q after %d", s.path, len(notes), origin, expected)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	ctx = context.WithoutCancel(ctx)
	tx, err := s.db.BeginTx(ctx, nil)
	if err != nil {
		return fault(err, s.path, "recording")
	}
	defer tx.Rollback() // without effect after Commit
	size := expected + int64(len(notes))
	if err := s.advance(ctx, tx, origin, expected, size, checkpoint); err != nil {
		return fault(err, s.path, "recording")
	}
	if want := tlog.StoredHashCount(size) - tlog.StoredHashCount(expected); int64(len(hashes)) != want {
		return fmt.Errorf("%s: %d tree hashes for entries %d to %d, want %d", s.path, len(hashes), expected, size-1, want)
	}
	if s.testOnlyStall != nil {
		s.testOnlyStall()
	}
	insert := tx.StmtContext(ctx, s.writing.entry)
	for i, note := range notes {
		n := expected + int64(i)
		own := tlog.StoredHashCount(n+1) - tlog.StoredHashCount(n)
		if _, err := insert.ExecContext(ctx, origin, n, joinHashes(hashes[:own]), string(note)); err != nil {
			return fault(err, s.path, "recording")
		}
		hashes = hashes[own:]
	}
	return fault(tx.Commit(), s.path, "recording")
}

func joinHashes(hashes []tlog.Hash) []byte {
	joined := make([]byte, 0, len(hashes)*tlog.HashSize)
	for _, h := range hashes {
		joined = append(joined, h[:]...)
	}
	return joined
}

// advance moves the head of a log from expected entries to size.
//
// The tree root in the note, the tree hashes and the checkpoint were computed
// and signed for a log of exactly expected entries. If another writer came in
// between, storing them would fork the log: two entries of one index, or a
// checkpoint that does not fit. Therefore the condition is part of the one
// statement that moves the head, and that statement must change exactly one
// row. A check by an earlier SELECT would rest on the isolation of the
// transaction, which nobody sees at this line.
func (s *Store) advance(ctx context.Context, tx *sql.Tx, origin string, expected, size int64, checkpoint []byte) error {
	if expected == 0 {
		if _, err := tx.StmtContext(ctx, s.writing.begin).ExecContext(ctx, origin); err != nil {
			return err
		}
	}
	result, err := tx.StmtContext(ctx, s.writing.advance).ExecContext(ctx, size, string(checkpoint), origin, expected)
	if err != nil {
		return err
	}
	changed, err := result.RowsAffected()
	if err != nil {
		return err
	}
	if changed != 1 {
		return fmt.Errorf("%s: not at %d entries: %w", origin, expected, ledger.ErrMoved)
	}
	return nil
}
