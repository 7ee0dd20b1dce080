package store

import (
	"context"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"
)

// BenchmarkAppend commits one entry at a time, and in turns with it appends the
// same bytes to a plain file with fdatasync. It reports the medians and their
// ratio: a mean would tell of the other users of the disk.
func BenchmarkAppend(b *testing.B) {
	dir := b.TempDir()
	s := openTest(b, dir)
	bare, err := os.Create(filepath.Join(dir, "bare"))
	require.NoError(b, err)
	defer bare.Close()
	ctx := context.Background()
	checkpoint := chainCheckpoint(tlog.Tree{})
	var ours, theirs []time.Duration
	size := int64(0)
	for b.Loop() {
		note := chainNote(size, [32]byte{})
		hashes := make([]tlog.Hash, tlog.StoredHashCount(size+1)-tlog.StoredHashCount(size))
		begin := time.Now()
		err := s.Append(ctx, chainOrigin, size, [][]byte{note}, hashes, checkpoint)
		ours = append(ours, time.Since(begin))
		require.NoError(b, err)
		begin = time.Now()
		_, err = bare.Write(note)
		if err == nil {
			err = syscall.Fdatasync(int(bare.Fd()))
		}
		theirs = append(theirs, time.Since(begin))
		require.NoError(b, err)
		size++
	}
	slices.Sort(ours)
	slices.Sort(theirs)
	commit, plain := ours[len(ours)/2], theirs[len(theirs)/2]
	b.ReportMetric(float64(commit.Nanoseconds()), "commit-ns")
	b.ReportMetric(float64(plain.Nanoseconds()), "bare-ns")
	b.ReportMetric(float64(commit)/float64(plain), "ratio")
}

// BenchmarkReadEntries reads a log of ten thousand entries.
func BenchmarkReadEntries(b *testing.B) {
	const entries = 10_000
	dir := b.TempDir()
	s := openTest(b, dir)
	var notes [][]byte
	for i := range int64(entries) {
		notes = append(notes, chainNote(i, [32]byte{}))
	}
	require.NoError(b, extend(s, 0, notes...))
	require.NoError(b, s.Close())
	r := openTestReader(b, dir)
	for b.Loop() {
		n := 0
		require.NoError(b, r.ReadEntries(context.Background(), chainOrigin, 0, entries, func(int64, []byte) error {
			n++
			return nil
		}))
		require.Equal(b, entries, n)
	}
	b.ReportMetric(float64(entries*b.N)/b.Elapsed().Seconds(), "entries/s")
}
