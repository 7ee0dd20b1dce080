package store

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestSecondWriterIsToldWhoHasIt(t *testing.T) {
	dir := t.TempDir()
	first := openTest(t, dir)
	_, err := Open(dir, Options{Holder: testHolder(2)})
	require.Error(t, err)
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
	assert.ErrorContains(t, err, dir+": in use by process 4711 on bench since 2026-11-25 17:31:02 UTC")

	require.NoError(t, first.Close())
	require.NoError(t, first.Close(), "closing twice does nothing")
	second := openTest(t, dir)
	_, err = Open(dir, Options{Holder: testHolder(3)})
	assert.ErrorContains(t, err, "process 4711")
	require.NoError(t, second.Close())
	left, err := os.ReadFile(filepath.Join(dir, leaseFile))
	require.NoError(t, err)
	assert.Empty(t, left, "nobody is named after the end")
}

func TestLeaseOfAnotherProcess(t *testing.T) {
	dir := t.TempDir()
	child := startChild(t, dir, "hold")
	child.waitFor(t, "holding")
	_, err := Open(dir, Options{Holder: testHolder(2)})
	require.Error(t, err)
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
	assert.ErrorContains(t, err, "in use by process 99 on bench")
	child.kill(t)
	s := openTest(t, dir) // free, though the child could not give it back
	require.NoError(t, answer(s, 0, 0))
}

// The lock file comes with the folder; what it says is shown to people.
func TestHostileLockFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, leaseFile)
	l, err := takeLease(dir, Holder{PID: 1, Host: "bay\x1b[2J\u202e", Since: testTime})
	require.NoError(t, err)
	assert.Equal(t, "process 1 on bay[2J since 2026-11-25 17:31:02 UTC", readHolder(path))
	require.NoError(t, l.write("\x1b]0;x\x07 nobody\nmore"))
	assert.Equal(t, "]0;x nobody", readHolder(path))
	require.NoError(t, l.release())

	require.NoError(t, os.Remove(path))
	target := filepath.Join(t.TempDir(), "kept")
	require.NoError(t, os.WriteFile(target, []byte("kept"), 0o644))
	require.NoError(t, os.Symlink(target, path))
	_, err = Open(dir, Options{Holder: testHolder(2)})
	require.Error(t, err, "a link in place of the lock file is not followed")
	data, err := os.ReadFile(target)
	require.NoError(t, err)
	assert.Equal(t, "kept", string(data))
}

// Two writers that slipped past the lease meet at the guarded statement: one
// stalls between check and commit, the other comes in.
func TestRace(t *testing.T) {
	dir := filled(t, 3)
	first, err := openWriter(dir)
	require.NoError(t, err)
	defer first.Close()
	second, err := openWriter(dir)
	require.NoError(t, err)
	defer second.Close()

	var other sync.WaitGroup
	var moved error
	started := make(chan bool)
	first.testOnlyStall = func() {
		first.testOnlyStall = nil
		other.Go(func() {
			close(started)
			moved = answer(second, 3, 1003)
		})
		<-started
	}
	require.NoError(t, answer(first, 3, 3))
	other.Wait()
	assert.ErrorIs(t, moved, ledger.ErrMoved)

	require.NoError(t, answer(second, 4, 4), "with the new size it may")
	assert.ErrorIs(t, answer(first, 4, 1004), ledger.ErrMoved)
	notes, err := checkChain(first)
	require.NoError(t, err)
	require.Len(t, notes, 5)
	for i, note := range notes {
		number, _ := parseNote(t, note)
		assert.Equal(t, int64(i), number)
	}
}

// Many goroutines of one program append at once; each number is stored once.
func TestConcurrentAppend(t *testing.T) {
	s := openTest(t, t.TempDir())
	ctx := context.Background()
	const writers, each = 4, 10
	var all sync.WaitGroup
	failures := make(chan error, writers*each)
	for w := range int64(writers) {
		all.Go(func() {
			for i := range int64(each) {
				for {
					size, err := s.Size(ctx, chainOrigin)
					if err == nil {
						err = answer(s, size, w*each+i)
					}
					if err == nil {
						break
					}
					if !assert.ErrorIs(t, err, ledger.ErrMoved) {
						failures <- err
						return
					}
				}
			}
		})
	}
	all.Wait()
	require.Empty(t, failures)
	notes, err := checkChain(s)
	require.NoError(t, err)
	seen := map[int64]int{}
	for _, note := range notes {
		number, _ := parseNote(t, note)
		seen[number]++
	}
	assert.Len(t, seen, writers*each)
	assert.Len(t, notes, writers*each)
}
