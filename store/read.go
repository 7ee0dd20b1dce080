package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/bits"
	"slices"

	"hvproof/internal/ledger"

	"golang.org/x/mod/sumdb/tlog"
)

// Size returns the number of entries of a log, 0 if there is no such log.
func (s *Store) Size(ctx context.Context, origin string) (int64, error) {
	var size int64
	err := s.db.QueryRowContext(ctx, `SELECT size FROM log WHERE origin = ?`, origin).Scan(&size)
	return size, s.read(ignoreNoRows(err))
}

// Checkpoint returns the newest checkpoint of a log, nil if there is no such log.
func (s *Store) Checkpoint(ctx context.Context, origin string) ([]byte, error) {
	var checkpoint []byte
	err := s.db.QueryRowContext(ctx, `SELECT checkpoint FROM log WHERE origin = ?`, origin).Scan(&checkpoint)
	if err := s.read(ignoreNoRows(err)); err != nil {
		return nil, err
	}
	return checkpoint, nil
}

// Origins returns the names of all logs in the folder, in order.
func (s *Store) Origins(ctx context.Context) ([]string, error) {
	var origins []string
	err := s.query(ctx, func(rows *sql.Rows) error {
		var origin string
		err := rows.Scan(&origin)
		origins = append(origins, origin)
		return err
	}, `SELECT origin FROM log ORDER BY origin`)
	if err != nil {
		return nil, err
	}
	return origins, nil
}

// Batches bound the memory of a long reading, and let the database go between
// one and the next, so that fn may use the store and a writer can end its log.
const (
	batchRows = 512
	batchRuns = 4096 // entries whose hashes are fetched at once
)

// ReadEntries calls fn with each stored entry from ≤ index < to, in order, and
// stops at fn's first error, which it returns. An entry that is missing is left
// out; the note is fn's to keep.
func (s *Store) ReadEntries(ctx context.Context, origin string, from, to int64, fn func(index int64, note []byte) error) error {
	return s.ReadRows(ctx, origin, from, to, func(index int64, note []byte, _ []tlog.Hash) error { return fn(index, note) })
}

// ReadRows implements [ledger.RowReader].
func (s *Store) ReadRows(ctx context.Context, origin string, from, to int64, fn func(index int64, note []byte, hashes []tlog.Hash) error) error {
	type row struct {
		index  int64
		note   []byte
		hashes []tlog.Hash
	}
	for from < to {
		batch := make([]row, 0, min(batchRows, to-from))
		var hashes sql.RawBytes
		err := s.query(ctx, func(rows *sql.Rows) error {
			var r row
			err := rows.Scan(&r.index, &r.note, &hashes)
			r.hashes = hashesOf(r.index, hashes)
			batch = append(batch, r)
			return err
		}, `SELECT "index", note, hashes FROM entry WHERE origin = ? AND "index" >= ? AND "index" < ? ORDER BY "index" LIMIT ?`,
			origin, from, to, batchRows)
		if err != nil {
			return err
		}
		for _, r := range batch {
			if err := fn(r.index, r.note, r.hashes); err != nil {
				return err
			}
		}
		if len(batch) < batchRows {
			return nil
		}
		from = batch[len(batch)-1].index + 1
	}
	return nil
}

// hashesOf takes apart what is stored with an entry; nil if it is not all there.
func hashesOf(index int64, stored []byte) []tlog.Hash {
	n := 1 + bits.TrailingZeros64(uint64(index+1))
	if index < 0 || len(stored) < n*tlog.HashSize {
		return nil
	}
	hashes := make([]tlog.Hash, n)
	for i := range hashes {
		copy(hashes[i][:], stored[i*tlog.HashSize:])
	}
	return hashes
}

// ReadHashes returns the tree hashes with these indexes, in the order asked for.
// The index is that of [tlog.StoredHashIndex]. A hash that is not there is an
// error that wraps [ledger.ErrNoHash].
func (s *Store) ReadHashes(ctx context.Context, origin string, indexes []int64) ([]tlog.Hash, error) {
	places := make([]hashPlace, len(indexes))
	entries := make([]int64, len(indexes))
	for i, index := range indexes {
		if index < 0 {
			return nil, noHash(origin, index)
		}
		places[i] = placeOf(index)
		entries[i] = places[i].entry
	}
	slices.Sort(entries)
	entries = slices.Compact(entries)
	stored := make(map[int64][]byte, len(entries))
	for len(entries) > 0 {
		n := runLength(entries)
		err := s.query(ctx, func(rows *sql.Rows) error {
			var entry int64
			var hashes []byte
			err := rows.Scan(&entry, &hashes)
			stored[entry] = hashes
			return err
		}, `SELECT "index", hashes FROM entry WHERE origin = ? AND "index" BETWEEN ? AND ?`, origin, entries[0], entries[n-1])
		if err != nil {
			return nil, err
		}
		entries = entries[n:]
	}
	result := make([]tlog.Hash, len(indexes))
	for i, p := range places {
		from := p.level * tlog.HashSize
		if from+tlog.HashSize > len(stored[p.entry]) {
			return nil, noHash(origin, indexes[i])
		}
		copy(result[i][:], stored[p.entry][from:])
	}
	return result, nil
}

func noHash(origin string, index int64) error {
	return fmt.Errorf("%s: tree hash %d: %w", origin, index, ledger.ErrNoHash)
}

// hashPlace says where a tree hash is stored: beside the entry that completes
// its node, after those of the levels below.
type hashPlace struct {
	entry int64
	level int
}

func placeOf(index int64) hashPlace {
	level, n := tlog.SplitStoredHashIndex(index)
	return hashPlace{entry: (n+1)<<level - 1, level: level}
}

// runLength returns how many entries at the beginning follow each other without
// a gap, so that one statement fetches them.
func runLength(entries []int64) int {
	n := 1
	for n < len(entries) && n < batchRuns && entries[n] == entries[n-1]+1 {
		n++
	}
	return n
}

// query runs a reading statement and calls scan for each row. The rows are closed
// when it returns.
func (s *Store) query(ctx context.Context, scan func(*sql.Rows) error, statement string, args ...any) error {
	rows, err := s.db.QueryContext(ctx, statement, args...)
	if err != nil {
		return s.read(err)
	}
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return s.read(err)
		}
	}
	return s.read(errors.Join(rows.Err(), rows.Close()))
}

// read returns what a reading ended with, in words. If the file did not stand
// still that is the reason, whatever else went wrong.
func (s *Store) read(err error) error {
	if changed := s.unchanged(); changed != nil {
		return changed
	}
	return fault(err, s.path, "reading")
}

func ignoreNoRows(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	return err
}
