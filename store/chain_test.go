package store

import (
	"context"
	"encoding/hex"
	"fmt"
	"strings"
	"testing"

	"hvproof/internal/ledger"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

// chainOrigin is the log that these tests write.
const chainOrigin = "hvproof/finch/aaaabbbb/ccccdddd/practice"

// chainNote is an entry of the tests: a number that occurs once, and the digest
// of a blob. Signatures play no part in storing.
func chainNote(number int64, blob [32]byte) []byte {
	return fmt.Appendf(nil, "answer %d\nblob %x\n%s\n", number, blob, strings.Repeat("Ω", 200))
}

// chainCheckpoint is an unsigned tree head of the form of a checkpoint.
func chainCheckpoint(tree tlog.Tree) []byte {
	return append([]byte(chainOrigin+"\n"), tlog.FormatTree(tree)[len("go.sum database tree\n"):]...)
}

func reader(st ledger.Storage) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		return st.ReadHashes(context.Background(), chainOrigin, indexes)
	})
}

// extend appends notes to a log of size entries as the ledger does: hashes from
// the stored ones, and the head of the new tree.
func extend(st ledger.Storage, size int64, notes ...[]byte) error {
	var hashes []tlog.Hash
	first := tlog.StoredHashCount(size)
	with := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		result := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			if index >= first {
				result[i] = hashes[index-first]
				continue
			}
			h, err := st.ReadHashes(context.Background(), chainOrigin, []int64{index})
			if err != nil {
				return nil, err
			}
			result[i] = h[0]
		}
		return result, nil
	})
	for i, note := range notes {
		own, err := tlog.StoredHashes(size+int64(i), note, with)
		if err != nil {
			return err
		}
		hashes = append(hashes, own...)
	}
	tree := tlog.Tree{N: size + int64(len(notes))}
	var err error
	if tree.Hash, err = tlog.TreeHash(tree.N, with); err != nil {
		return err
	}
	return st.Append(context.Background(), chainOrigin, size, notes, hashes, chainCheckpoint(tree))
}

// checkChain returns the notes of the log if they add up to its checkpoint: the
// root computed from the notes alone, and the root computed from the stored
// hashes, are both the one in the checkpoint.
func checkChain(st ledger.Storage) (notes [][]byte, err error) {
	ctx := context.Background()
	size, err := st.Size(ctx, chainOrigin)
	if err != nil {
		return nil, err
	}
	checkpoint, err := st.Checkpoint(ctx, chainOrigin)
	if err != nil || size == 0 {
		return nil, err
	}
	var hashes []tlog.Hash
	computed := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		result := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			result[i] = hashes[index]
		}
		return result, nil
	})
	err = st.ReadEntries(ctx, chainOrigin, 0, size, func(index int64, note []byte) error {
		if index != int64(len(notes)) {
			return fmt.Errorf("entry %d where %d is due", index, len(notes))
		}
		own, err := tlog.StoredHashes(index, note, computed)
		notes, hashes = append(notes, note), append(hashes, own...)
		return err
	})
	if err != nil {
		return nil, err
	}
	if int64(len(notes)) != size {
		return nil, fmt.Errorf("%d notes in a log of %d", len(notes), size)
	}
	for name, with := range map[string]tlog.HashReader{"notes": computed, "stored hashes": reader(st)} {
		root, err := tlog.TreeHash(size, with)
		if err != nil {
			return nil, err
		}
		if want := chainCheckpoint(tlog.Tree{N: size, Hash: root}); string(want) != string(checkpoint) {
			return nil, fmt.Errorf("the checkpoint does not fit the %s", name)
		}
	}
	return notes, nil
}

// answer stores a blob and appends an entry that names it.
func answer(st ledger.Storage, size, number int64) error {
	blob, err := st.PutBlob(context.Background(), fmt.Appendf(nil, "capture of answer %d", number))
	if err != nil {
		return err
	}
	return extend(st, size, chainNote(number, blob))
}

// parseNote returns the number and the blob in a note of these tests.
func parseNote(t *testing.T, note []byte) (number int64, blob [32]byte) {
	t.Helper()
	var digest string
	_, err := fmt.Sscanf(string(note), "answer %d\nblob %s\n", &number, &digest)
	require.NoError(t, err)
	raw, err := hex.DecodeString(digest)
	require.NoError(t, err)
	require.Len(t, raw, 32)
	return number, [32]byte(raw)
}

func testHolder(pid int) Holder { return Holder{PID: pid, Host: "bench", Since: testTime} }
