package bundle

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/ledger"
)

// Size implements [ledger.Storage].
func (b *Bundle) Size(_ context.Context, origin string) (int64, error) {
	return b.log(origin).size(), nil
}

// ReadHashes implements [ledger.Storage]: the hashes are those of the entries
// that are there.
func (b *Bundle) ReadHashes(_ context.Context, origin string, indexes []int64) ([]tlog.Hash, error) {
	return b.log(origin).ReadHashes(indexes)
}

// ReadEntries implements [ledger.Storage].
func (b *Bundle) ReadEntries(ctx context.Context, origin string, from, to int64, fn func(index int64, note []byte) error) error {
	l := b.log(origin)
	e, _ := l.find(max(from, 0))
	for ; e < len(l.entries) && l.entries[e].index < to; e++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		raw, err := b.read(l.entries[e].slot)
		if err != nil {
			return err
		}
		if err := fn(l.entries[e].index, raw); err != nil {
			return err
		}
	}
	return nil
}

// Checkpoint implements [ledger.Storage]: the log's own, without cosignatures.
func (b *Bundle) Checkpoint(_ context.Context, origin string) ([]byte, error) {
	return slices.Clone(b.log(origin).checkpoint), nil
}

// Origins implements [ledger.Storage]. The manifest names them.
func (b *Bundle) Origins(context.Context) ([]string, error) {
	return slices.Clone(b.Logs), nil
}

// Blob implements [ledger.Storage].
func (b *Bundle) Blob(_ context.Context, digest [32]byte) ([]byte, error) {
	s, ok := b.blobs[digest]
	if !ok {
		return nil, fmt.Errorf("%x: %w", digest, ledger.ErrNoBlob)
	}
	data, err := b.read(s)
	if err != nil {
		return nil, err
	}
	if sha256.Sum256(data) != digest {
		return nil, fmt.Errorf("%x: %w", digest, ledger.ErrAlteredBlob)
	}
	return data, nil
}

// CheckBlob implements [ledger.BlobChecker]: as the blob was when the bundle
// was opened.
func (b *Bundle) CheckBlob(_ context.Context, digest [32]byte) error {
	s, ok := b.blobs[digest]
	switch {
	case !ok:
		return fmt.Errorf("%x: %w", digest, ledger.ErrNoBlob)
	case s.sum != digest:
		return fmt.Errorf("%x: %w", digest, ledger.ErrAlteredBlob)
	}
	return nil
}

// errReadOnly is what appending to a bundle gives.
var errReadOnly = errors.New("a bundle is only read")

// Append implements [ledger.Storage] by refusing.
func (b *Bundle) Append(context.Context, string, int64, [][]byte, []tlog.Hash, []byte) error {
	return errReadOnly
}

// PutBlob implements [ledger.Storage] by refusing.
func (b *Bundle) PutBlob(context.Context, []byte) ([32]byte, error) {
	return [32]byte{}, errReadOnly
}
