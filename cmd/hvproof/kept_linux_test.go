package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/ledger"
)

// TestKeptEntries: with nothing written to a log since, its entries are not read
// again; whatever is written to it, they are. What is kept counts for nothing if
// a byte of it is another, for another program's file, and for a log that has
// grown.
func TestKeptEntries(t *testing.T) {
	c := newTriedCar(t)
	benches(t, c.dir, c.config, keepFrom/6+1)
	db := filepath.Join(c.dir, "hvproof.db")
	kept := func() []string {
		files, err := filepath.Glob(filepath.Join(c.config, "verified", "kept-*"))
		require.NoError(t, err)
		return files
	}
	ask := func(want int) string {
		t.Helper()
		code, out, errs := c.hvproof("-C", c.dir, "ready")
		require.Equal(t, want, code, out+errs)
		return out
	}
	// recalled asks, and reports whether the entries came from where they were
	// kept: else they are kept anew, in another file of that name.
	recalled := func() bool {
		t.Helper()
		before, err := os.Stat(kept()[0])
		require.NoError(t, err)
		ask(0)
		after, err := os.Stat(kept()[0])
		require.NoError(t, err)
		return os.SameFile(before, after)
	}
	fresh := ask(0)
	time.Sleep(waitStill)
	require.Equal(t, fresh, ask(0))
	require.Len(t, kept(), 1)
	require.True(t, recalled())
	require.Equal(t, fresh, ask(0))

	file := kept()[0]
	data := bytesOf(t, file)
	for _, at := range []int{3, len(data) / 2, len(data) - 1} {
		data[at] ^= 1
		require.NoError(t, os.WriteFile(file, data, 0o600))
		require.False(t, recalled(), "byte %d", at)
		require.True(t, recalled())
		data[at] ^= 1
	}
	was := verifier()
	require.NoError(t, os.WriteFile(file, bytes.Replace(data, []byte(was), []byte(was[:len(was)-1]+"x"), 1), 0o600))
	require.False(t, recalled(), "of another program")
	require.True(t, recalled())

	// One byte of an entry altered, the file's times set back to what they were.
	info, err := os.Stat(db)
	require.NoError(t, err)
	text := bytesOf(t, db)
	at := bytes.Index(text, []byte("text: 0.4 V"))
	require.Positive(t, at)
	text[at+len("text: 0.")] = '5'
	require.NoError(t, os.WriteFile(db, text, 0o600))
	require.NoError(t, os.Chtimes(db, info.ModTime(), info.ModTime()))
	assert.Contains(t, ask(1), "the log does not verify")
	time.Sleep(waitStill)
	assert.Contains(t, ask(1), "the log does not verify")
	code, d := c.verify(c.dir)
	assert.Equal(t, 1, code)
	assert.Contains(t, fmt.Sprint(d), string(ledger.BadSignature))
	text[at+len("text: 0.")] = '4'
	require.NoError(t, os.WriteFile(db, text, 0o600))

	time.Sleep(waitStill)
	require.False(t, recalled(), "it was written, if to the same")
	require.True(t, recalled())
	c.bench()
	time.Sleep(waitStill)
	require.False(t, recalled(), "it has grown")
	require.True(t, recalled())
	require.Equal(t, fresh, ask(0))
}
