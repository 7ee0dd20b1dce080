package store

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestStill: the state of a database has one name as long as nothing touches it,
// another one after anything did, also with the times set back; and none while
// somebody writes, or shortly after.
func TestStill(t *testing.T) {
	dir := filled(t, 2)
	now := time.Now()
	w := openTest(t, dir)
	assert.Empty(t, w.Still(now.Add(time.Hour)), "of a writer")
	r, err := Open(dir, Options{ReadOnly: true})
	require.NoError(t, err)
	assert.Empty(t, r.Still(now.Add(time.Hour)), "while somebody writes")
	require.NoError(t, r.Close())
	require.NoError(t, answer(w, 2, 3))
	require.NoError(t, w.Close())

	state := func(now time.Time) string {
		t.Helper()
		r, err := Open(dir, Options{ReadOnly: true})
		require.NoError(t, err)
		defer func() { require.NoError(t, r.Close()) }()
		return r.Still(now)
	}
	assert.Empty(t, state(now.Add(grain)), "just written")
	later := time.Now().Add(time.Hour)
	first := state(later)
	require.NotEmpty(t, first)
	assert.Equal(t, first, state(later.Add(time.Hour)))

	file := filepath.Join(dir, databaseFile)
	info, err := os.Stat(file)
	require.NoError(t, err)
	time.Sleep(50 * time.Millisecond) // the file system's clock has steps
	require.NoError(t, os.Chtimes(file, info.ModTime(), info.ModTime()))
	second := state(later)
	assert.NotEqual(t, first, second, "touched, and its time set back")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.NoError(t, os.Rename(file, file+".old"))
	require.NoError(t, os.WriteFile(file, data, 0o600))
	require.NoError(t, os.Chtimes(file, info.ModTime(), info.ModTime()))
	assert.NotEqual(t, second, state(later), "a copy in its place")
}
