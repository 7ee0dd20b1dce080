package store

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
	"pgregory.net/rapid"
)

func TestStorage(t *testing.T) {
	ledgertest.TestStorage(t, func(t *testing.T) ledger.Storage { return openTest(t, t.TempDir()) })
}

// A log of the ledger's own making is closed, opened again for reading, and
// verified; then it is changed behind its back, and does not verify.
func TestLedgerOnDisk(t *testing.T) {
	ctx := context.Background()
	dir := t.TempDir()
	s := openTest(t, dir)
	l := ledgertest.Begin(t, s, ledgertest.Origin)
	blob, err := s.PutBlob(ctx, []byte("plan"))
	require.NoError(t, err)
	for i := range 10 {
		ledgertest.Append(t, l, ledgertest.NoteBody(fmt.Sprint("note ", i)), ledgertest.Okoro)
	}
	size := l.Size()
	require.NoError(t, s.Close())

	r := openTestReader(t, dir)
	report, err := ledger.Verify(ctx, r, ledgertest.Origin, ledger.VerifyOptions{})
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.Equal(t, size, report.Entries)
	_, err = r.Blob(ctx, blob)
	require.NoError(t, err)
	require.NoError(t, r.Close())

	for statement, want := range map[string]ledger.Code{
		`UPDATE entry SET note = replace(note, 'note 3', 'note 4')`:                                                         "bad-signature",
		`DELETE FROM entry WHERE "index" = 8`:                                                                               "missing-entry",
		`UPDATE log SET checkpoint = replace(checkpoint, char(10) || size || char(10), char(10) || (size - 1) || char(10))`: "bad-checkpoint",
		`UPDATE entry SET hashes = zeroblob(32) WHERE "index" = 0`:                                                          "bad-root",
	} {
		changed := t.TempDir()
		path := filepath.Join(changed, databaseFile)
		require.NoError(t, copyFile(path, filepath.Join(dir, databaseFile)))
		db, err := connect(ctx, path, false, "mode=rw")
		require.NoError(t, err)
		for _, trigger := range []string{"entry_stays", "entry_kept", "log_grows"} {
			_, err = db.Exec("DROP TRIGGER " + trigger)
			require.NoError(t, err)
		}
		_, err = db.Exec(statement)
		require.NoError(t, err)
		require.NoError(t, db.Close())
		report, err := ledger.Verify(ctx, openTestReader(t, changed), ledgertest.Origin, ledger.VerifyOptions{})
		require.NoError(t, err, statement)
		var codes []ledger.Code
		for _, f := range report.Faults {
			codes = append(codes, f.Code)
		}
		assert.Contains(t, codes, want, statement)
	}
}

// Whatever bytes notes and checkpoints hold, they come back as they were, after
// opening again as well; and every tree hash is found.
func TestBytesComeBack(t *testing.T) {
	ctx := context.Background()
	rapid.Check(t, func(t *rapid.T) {
		dir, err := os.MkdirTemp("", "hvproof-test-")
		require.NoError(t, err)
		defer os.RemoveAll(dir)
		s, err := Open(dir, Options{Holder: testHolder(1)})
		require.NoError(t, err)
		var want [][]byte
		for range rapid.IntRange(1, 4).Draw(t, "appends") {
			notes := rapid.SliceOfN(rapid.SliceOfN(rapid.Byte(), 0, 6000), 1, 5).Draw(t, "notes")
			require.NoError(t, extend(s, int64(len(want)), notes...))
			want = append(want, notes...)
		}
		require.NoError(t, s.Close())
		r, err := Open(dir, Options{ReadOnly: true})
		require.NoError(t, err)
		got, err := checkChain(r)
		require.NoError(t, err)
		require.Len(t, got, len(want))
		for i := range want {
			require.Equal(t, string(want[i]), string(got[i]))
		}
		count := tlog.StoredHashCount(int64(len(want)))
		indexes := rapid.SliceOfN(rapid.Int64Range(0, count-1), 1, 20).Draw(t, "indexes")
		hashes, err := r.ReadHashes(ctx, chainOrigin, indexes)
		require.NoError(t, err)
		for i, index := range indexes {
			level, n := tlog.SplitStoredHashIndex(index)
			require.Equal(t, subtree(want, level, n), hashes[i])
		}
		_, err = r.ReadHashes(ctx, chainOrigin, []int64{count})
		require.ErrorIs(t, err, ledger.ErrNoHash)
		_, err = r.ReadHashes(ctx, chainOrigin, []int64{-1})
		require.ErrorIs(t, err, ledger.ErrNoHash)
		require.NoError(t, r.Close())
	})
}

// subtree is the hash of node n of a level, from the definition (RFC 6962, 2.1).
func subtree(notes [][]byte, level int, n int64) tlog.Hash {
	if level == 0 {
		return tlog.RecordHash(notes[n])
	}
	return tlog.NodeHash(subtree(notes, level-1, 2*n), subtree(notes, level-1, 2*n+1))
}
