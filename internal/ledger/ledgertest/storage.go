package ledgertest

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/ledger"
)

// TestStorage is what every [ledger.Storage] passes. open returns a new, empty
// one each time and closes it when the test ends.
func TestStorage(t *testing.T, open func(t *testing.T) ledger.Storage) {
	for name, test := range map[string]func(*testing.T, ledger.Storage){
		"empty":        testEmpty,
		"append":       testAppend,
		"origins":      testOrigins,
		"moved":        testMoved,
		"race":         testRace,
		"two logs":     testTwoLogs,
		"many":         testMany,
		"stop reading": testStopReading,
		"blobs":        testBlobs,
		"cancelled":    testCancelled,
	} {
		t.Run(name, func(t *testing.T) { test(t, open(t)) })
	}
}

func numbered(from, to int) (notes [][]byte, hashes []tlog.Hash) {
	for i := from; i < to; i++ {
		notes = append(notes, fmt.Appendf(nil, "note %d\n", i))
	}
	first, last := tlog.StoredHashIndex(0, int64(from)), tlog.StoredHashIndex(0, int64(to))
	for i := first; i < last; i++ {
		hashes = append(hashes, tlog.RecordHash(fmt.Appendf(nil, "hash %d", i)))
	}
	return notes, hashes
}

func add(t *testing.T, st ledger.Storage, origin string, from, to int) {
	t.Helper()
	notes, hashes := numbered(from, to)
	require.NoError(t, st.Append(t.Context(), origin, int64(from), notes, hashes, fmt.Appendf(nil, "checkpoint %d\n", to)))
}

func readAll(t *testing.T, st ledger.Storage, origin string, from, to int64) map[int64]string {
	t.Helper()
	got, last := map[int64]string{}, int64(-1)
	require.NoError(t, st.ReadEntries(t.Context(), origin, from, to, func(index int64, note []byte) error {
		assert.Greater(t, index, last, "ascending order")
		last = index
		got[index] = string(note)
		return nil
	}))
	return got
}

func testEmpty(t *testing.T, st ledger.Storage) {
	size, err := st.Size(t.Context(), Origin)
	require.NoError(t, err)
	assert.Equal(t, int64(0), size)
	checkpoint, err := st.Checkpoint(t.Context(), Origin)
	require.NoError(t, err)
	assert.Nil(t, checkpoint)
	origins, err := st.Origins(t.Context())
	require.NoError(t, err)
	assert.Empty(t, origins)
	assert.Empty(t, readAll(t, st, Origin, 0, 10))
	_, err = st.ReadHashes(t.Context(), Origin, []int64{0})
	assert.ErrorIs(t, err, ledger.ErrNoHash)
	_, err = st.Blob(t.Context(), [32]byte{1})
	assert.ErrorIs(t, err, ledger.ErrNoBlob)
}

func testAppend(t *testing.T, st ledger.Storage) {
	add(t, st, Origin, 0, 1)
	add(t, st, Origin, 1, 4)
	size, err := st.Size(t.Context(), Origin)
	require.NoError(t, err)
	assert.Equal(t, int64(4), size)
	assert.Equal(t, map[int64]string{1: "note 1\n", 2: "note 2\n"}, readAll(t, st, Origin, 1, 3))
	assert.Equal(t, map[int64]string{3: "note 3\n"}, readAll(t, st, Origin, 3, 99))
	assert.Empty(t, readAll(t, st, Origin, 4, 99))
	_, want := numbered(0, 4)
	got, err := st.ReadHashes(t.Context(), Origin, []int64{0, 1, 2, 3, 4, 5, 6})
	require.NoError(t, err)
	assert.Equal(t, want, got)
	got, err = st.ReadHashes(t.Context(), Origin, []int64{5, 0, 2, 2})
	require.NoError(t, err, "any order, and twice")
	assert.Equal(t, []tlog.Hash{want[5], want[0], want[2], want[2]}, got)
	_, err = st.ReadHashes(t.Context(), Origin, []int64{0, 7})
	assert.ErrorIs(t, err, ledger.ErrNoHash)
	checkpoint, err := st.Checkpoint(t.Context(), Origin)
	require.NoError(t, err)
	assert.Equal(t, "checkpoint 4\n", string(checkpoint))
}

func testOrigins(t *testing.T, st ledger.Storage) {
	for _, origin := range []string{"hvproof/b/x/1", "hvproof/a/x/1", "hvproof/b/x/1/practice"} {
		add(t, st, origin, 0, 1)
	}
	origins, err := st.Origins(t.Context())
	require.NoError(t, err)
	assert.Equal(t, []string{"hvproof/a/x/1", "hvproof/b/x/1", "hvproof/b/x/1/practice"}, origins)
}

func testMoved(t *testing.T, st ledger.Storage) {
	add(t, st, Origin, 0, 2)
	for _, expected := range []int64{0, 1, 3} {
		notes, hashes := numbered(2, 3)
		err := st.Append(t.Context(), Origin, expected, notes, hashes, []byte("checkpoint of the loser\n"))
		require.ErrorIs(t, err, ledger.ErrMoved)
	}
	notes, hashes := numbered(0, 1)
	require.ErrorIs(t, st.Append(t.Context(), "hvproof/new/x/1", 1, notes, hashes, []byte("c\n")), ledger.ErrMoved)
	assert.Len(t, readAll(t, st, Origin, 0, 9), 2, "nothing was changed")
	checkpoint, err := st.Checkpoint(t.Context(), Origin)
	require.NoError(t, err)
	assert.Equal(t, "checkpoint 2\n", string(checkpoint))
	_, err = st.ReadHashes(t.Context(), Origin, []int64{3})
	assert.ErrorIs(t, err, ledger.ErrNoHash)
}

// testRace lets two writers append at the same size: one is told that the log
// has moved, and the log has the other's entry.
func testRace(t *testing.T, st ledger.Storage) {
	for round := range 10 {
		start, results := make(chan struct{}), make([]error, 2)
		var writers sync.WaitGroup
		for w := range results {
			writers.Go(func() {
				_, hashes := numbered(round, round+1)
				<-start
				results[w] = st.Append(context.Background(), Origin, int64(round),
					[][]byte{fmt.Appendf(nil, "writer %d\n", w)}, hashes, fmt.Appendf(nil, "checkpoint of %d\n", w))
			})
		}
		close(start)
		writers.Wait()
		loser := 0
		if results[0] == nil {
			loser = 1
		}
		require.NoError(t, results[1-loser])
		require.ErrorIs(t, results[loser], ledger.ErrMoved)
		got := readAll(t, st, Origin, 0, 99)
		require.Len(t, got, round+1)
		require.Equal(t, fmt.Sprintf("writer %d\n", 1-loser), got[int64(round)])
		checkpoint, err := st.Checkpoint(t.Context(), Origin)
		require.NoError(t, err)
		require.Equal(t, fmt.Sprintf("checkpoint of %d\n", 1-loser), string(checkpoint))
	}
}

// testTwoLogs lets two ledgers append to one log: none is lost, none is there
// twice, and it all verifies.
func testTwoLogs(t *testing.T, st ledger.Storage) {
	Begin(t, st, Origin)
	logs := []*ledger.Log{Open(t, st, Origin), Open(t, st, Origin)}
	errs := make([]error, len(logs))
	const each = 10
	signer := Signer(t, Okoro)
	var writers sync.WaitGroup
	for w, l := range logs {
		writers.Go(func() {
			for i := range each {
				_, _, err := l.Append(context.Background(), NoteBody(fmt.Sprintf("writer %d, %d", w, i)), signer)
				errs[w] = errors.Join(errs[w], err)
			}
		})
	}
	writers.Wait()
	require.NoError(t, errors.Join(errs...))
	report, err := ledger.Verify(t.Context(), st, Origin, ledger.VerifyOptions{})
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.Equal(t, int64(5+2*each), report.Entries)
}

func testMany(t *testing.T, st ledger.Storage) {
	const n = 3000
	add(t, st, Origin, 0, n)
	_, want := numbered(0, n)
	indexes := make([]int64, len(want))
	for i := range indexes {
		indexes[i] = int64(i)
	}
	got, err := st.ReadHashes(t.Context(), Origin, indexes)
	require.NoError(t, err)
	assert.Equal(t, want, got)
	var readers sync.WaitGroup
	counts := make([]int, 4)
	errs := make([]error, len(counts))
	for r := range counts {
		readers.Go(func() {
			errs[r] = st.ReadEntries(context.Background(), Origin, 0, n, func(int64, []byte) error {
				counts[r]++
				return nil
			})
		})
	}
	readers.Wait()
	require.NoError(t, errors.Join(errs...))
	assert.Equal(t, []int{n, n, n, n}, counts, "several readers at the same time")
}

func testStopReading(t *testing.T, st ledger.Storage) {
	add(t, st, Origin, 0, 5)
	stop, seen := errors.New("stop"), 0
	var kept []byte
	err := st.ReadEntries(t.Context(), Origin, 0, 5, func(index int64, note []byte) error {
		if seen++; index == 0 {
			kept = note
		}
		if seen == 2 {
			return stop
		}
		return nil
	})
	require.ErrorIs(t, err, stop)
	assert.Equal(t, 2, seen)
	assert.Equal(t, "note 0\n", string(kept), "the slice is the reader's to keep")
	add(t, st, Origin, 5, 6) // nothing is left locked
}

func testBlobs(t *testing.T, st ledger.Storage) {
	for _, data := range [][]byte{[]byte("a capture"), []byte("a capture"), {}, make([]byte, 1<<20)} {
		digest, err := st.PutBlob(t.Context(), data)
		require.NoError(t, err)
		got, err := st.Blob(t.Context(), digest)
		require.NoError(t, err)
		assert.Equal(t, len(data), len(got))
		assert.Equal(t, string(data), string(got))
	}
}

func testCancelled(t *testing.T, st ledger.Storage) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	notes, hashes := numbered(0, 1)
	require.Error(t, st.Append(ctx, Origin, 0, notes, hashes, []byte("c\n")))
	size, err := st.Size(t.Context(), Origin)
	require.NoError(t, err)
	assert.Equal(t, int64(0), size, "a cancelled append has changed nothing")
}
