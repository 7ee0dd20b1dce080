// Package ledgertest has what tests need around a ledger: a storage in memory
// that can be tampered with, the conformance suite that every storage passes,
// and a small crew of people with fixed keys.
package ledgertest

import (
	"context"
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/ledger"
)

// Records is one log as Memory keeps it. A nil note, a hash beyond the end and
// a nil checkpoint are not there.
type Records struct {
	Notes      [][]byte
	Hashes     []tlog.Hash
	Checkpoint []byte
}

// Memory is a [ledger.Storage] in memory. Tests may alter Logs and Blobs while
// nobody else uses it: that is what they are exported for.
type Memory struct {
	mu    sync.RWMutex
	Logs  map[string]*Records
	Blobs map[[32]byte][]byte
}

// NewMemory returns an empty storage.
func NewMemory() *Memory {
	return &Memory{Logs: map[string]*Records{}, Blobs: map[[32]byte][]byte{}}
}

// Clone returns an independent copy, down to the bytes.
func (m *Memory) Clone() *Memory {
	m.mu.RLock()
	defer m.mu.RUnlock()
	c := NewMemory()
	for origin, r := range m.Logs {
		copied := &Records{Hashes: slices.Clone(r.Hashes), Checkpoint: slices.Clone(r.Checkpoint)}
		for _, n := range r.Notes {
			copied.Notes = append(copied.Notes, slices.Clone(n))
		}
		c.Logs[origin] = copied
	}
	for digest, data := range m.Blobs {
		c.Blobs[digest] = slices.Clone(data)
	}
	return c
}

func (m *Memory) log(origin string) *Records {
	if r := m.Logs[origin]; r != nil {
		return r
	}
	return &Records{}
}

// Size implements [ledger.Storage].
func (m *Memory) Size(ctx context.Context, origin string) (int64, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return int64(len(m.log(origin).Notes)), ctx.Err()
}

// ReadHashes implements [ledger.Storage].
func (m *Memory) ReadHashes(ctx context.Context, origin string, indexes []int64) ([]tlog.Hash, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	stored := m.log(origin).Hashes
	list := make([]tlog.Hash, len(indexes))
	for i, index := range indexes {
		if index < 0 || index >= int64(len(stored)) {
			return nil, fmt.Errorf("tree hash %d of %s: %w", index, origin, ledger.ErrNoHash)
		}
		list[i] = stored[index]
	}
	return list, ctx.Err()
}

// ReadEntries implements [ledger.Storage].
func (m *Memory) ReadEntries(ctx context.Context, origin string, from, to int64, fn func(int64, []byte) error) error {
	m.mu.RLock()
	notes := slices.Clone(m.log(origin).Notes[min(from, int64(len(m.log(origin).Notes))):])
	m.mu.RUnlock()
	for i, n := range notes {
		index := from + int64(i)
		if index >= to {
			break
		}
		if err := ctx.Err(); err != nil {
			return err
		}
		if n == nil {
			continue
		}
		if err := fn(index, slices.Clone(n)); err != nil {
			return err
		}
	}
	return nil
}

// Append implements [ledger.Storage].
func (m *Memory) Append(ctx context.Context, origin string, expected int64, notes [][]byte, hashes []tlog.Hash, checkpoint []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return err
	}
	r := m.log(origin)
	if size := int64(len(r.Notes)); size != expected {
		return fmt.Errorf("%s has %d entries, not %d: %w", origin, size, expected, ledger.ErrMoved)
	}
	for _, n := range notes {
		r.Notes = append(r.Notes, slices.Clone(n))
	}
	r.Hashes = append(r.Hashes, hashes...)
	r.Checkpoint = slices.Clone(checkpoint)
	m.Logs[origin] = r
	return nil
}

// Checkpoint implements [ledger.Storage].
func (m *Memory) Checkpoint(ctx context.Context, origin string) ([]byte, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return slices.Clone(m.log(origin).Checkpoint), ctx.Err()
}

// Origins implements [ledger.Storage].
func (m *Memory) Origins(ctx context.Context) ([]string, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	return slices.Sorted(maps.Keys(m.Logs)), ctx.Err()
}

// PutBlob implements [ledger.Storage].
func (m *Memory) PutBlob(ctx context.Context, data []byte) ([32]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	digest := sha256.Sum256(data)
	m.Blobs[digest] = slices.Clone(data)
	return digest, ctx.Err()
}

// Blob implements [ledger.Storage].
func (m *Memory) Blob(ctx context.Context, digest [32]byte) ([]byte, error) {
	m.mu.RLock()
	defer m.mu.RUnlock()
	data, ok := m.Blobs[digest]
	if !ok {
		return nil, fmt.Errorf("%x: %w", digest, ledger.ErrNoBlob)
	}
	if sha256.Sum256(data) != digest {
		return nil, fmt.Errorf("%x: %w", digest, ledger.ErrAlteredBlob)
	}
	return slices.Clone(data), ctx.Err()
}
