package ledger

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// Errors that a Storage returns, wrapped or not.
var (
	// ErrMoved: the log does not have the expected size (any more).
	ErrMoved = errors.New("the log has moved on")
	// ErrNoHash: a stored tree hash that should be there is not.
	ErrNoHash = errors.New("no such tree hash")
	// ErrNoBlob: no blob of that digest is stored.
	ErrNoBlob = errors.New("no such blob")
	// ErrAlteredBlob: what is stored under a digest has another one.
	ErrAlteredBlob = errors.New("the blob was altered")
)

// A Storage keeps logs, each under its origin, and blobs under their SHA-256.
// It knows neither keys nor kinds. All methods may be called at the same time
// from several goroutines. Errors other than those named here mean that the
// machine failed, not that the log is wrong.
//
// [golang.org/x/mod/sumdb/tlog] gives tree hashes their indexes: those that
// belong to entry n begin at tlog.StoredHashIndex(0, n) and are contiguous.
// Verify reads hashes in long ascending runs without gaps.
type Storage interface {
	// Size returns the number of entries, 0 for an unknown origin.
	Size(ctx context.Context, origin string) (int64, error)
	// ReadHashes returns the tree hashes with those indexes in that order, or
	// an error that wraps ErrNoHash.
	ReadHashes(ctx context.Context, origin string, indexes []int64) ([]tlog.Hash, error)
	// ReadEntries calls fn with the notes from ≤ index < to that are there, in
	// ascending order, and stops at fn's first error, which it returns. What
	// is beyond the end is silently left out. The slice is fn's to keep.
	ReadEntries(ctx context.Context, origin string, from, to int64, fn func(index int64, note []byte) error) error
	// Append adds notes, their tree hashes and the new checkpoint, all or
	// nothing and durably, if the log has exactly the expected size, else it
	// returns an error that wraps ErrMoved and has changed nothing.
	Append(ctx context.Context, origin string, expected int64, notes [][]byte, hashes []tlog.Hash, checkpoint []byte) error
	// Checkpoint returns the newest checkpoint, nil where there is none.
	Checkpoint(ctx context.Context, origin string) ([]byte, error)
	// Origins lists the origins that have entries, sorted.
	Origins(ctx context.Context) ([]string, error)
	// PutBlob stores bytes durably and returns their SHA-256.
	PutBlob(ctx context.Context, data []byte) ([32]byte, error)
	// Blob returns a blob after comparing its digest: ErrNoBlob, ErrAlteredBlob.
	Blob(ctx context.Context, digest [32]byte) ([]byte, error)
}

// A BlobChecker is a Storage that tells whether a blob is there and whole
// without holding all of it in memory: nil, ErrNoBlob, ErrAlteredBlob.
type BlobChecker interface {
	CheckBlob(ctx context.Context, digest [32]byte) error
}

// A RowReader is a Storage that gives each entry together with the tree hashes
// that came with it, which is faster than asking for one and then the other:
// as ReadEntries; hashes is nil where they are not all there.
type RowReader interface {
	ReadRows(ctx context.Context, origin string, from, to int64, fn func(index int64, note []byte, hashes []tlog.Hash) error) error
}

// checkBlob asks a storage whether a blob is there and whole.
func checkBlob(ctx context.Context, st Storage, digest [32]byte) error {
	if c, ok := st.(BlobChecker); ok {
		return c.CheckBlob(ctx, digest)
	}
	data, err := st.Blob(ctx, digest)
	if err == nil && sha256.Sum256(data) != digest {
		return ErrAlteredBlob
	}
	return err
}

// hashReader lets tlog read the hashes of one log.
func hashReader(ctx context.Context, st Storage, origin string) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		if len(indexes) == 0 {
			return nil, nil
		}
		return st.ReadHashes(ctx, origin, indexes)
	})
}

// snapshot reads the size and the checkpoint that belong together, though
// somebody may append in between.
func snapshot(ctx context.Context, st Storage, origin string) (size int64, checkpoint []byte, err error) {
	for range retries {
		if size, err = st.Size(ctx, origin); err != nil {
			return 0, nil, err
		}
		if checkpoint, err = st.Checkpoint(ctx, origin); err != nil {
			return 0, nil, err
		}
		again, err := st.Size(ctx, origin)
		if err != nil {
			return 0, nil, err
		}
		if again == size {
			return size, checkpoint, nil
		}
	}
	return 0, nil, fmt.Errorf("reading the head of %s: others appended %d times meanwhile: %w", origin, retries, ErrMoved)
}
