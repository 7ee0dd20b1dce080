package home

import (
	"crypto/rand"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestKept: what was laid aside comes back for the same log in the same state
// and for no other, and nothing comes back of what is no file.
func TestKept(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "config")
	h, err := Open(dir, rand.Reader)
	require.NoError(t, err)
	const origin = "hvproof/wren/b2c4/k3f9"
	assert.Nil(t, h.Kept(origin, "1 2 3"))
	require.NoError(t, h.RememberKept(origin, "1 2 3", []byte("entries\n\x00")))
	assert.Equal(t, []byte("entries\n\x00"), h.Kept(origin, "1 2 3"))
	assert.Nil(t, h.Kept(origin, "1 2 4"))
	assert.Nil(t, h.Kept(origin, "1 2 3\n"))
	assert.Nil(t, h.Kept("hvproof/wren/b2c4/k3f8", "1 2 3"))
	require.NoError(t, h.RememberKept(origin, "1 2 4", []byte("more")))
	assert.Nil(t, h.Kept(origin, "1 2 3"))
	assert.Equal(t, []byte("more"), h.Kept(origin, "1 2 4"))

	files, err := filepath.Glob(filepath.Join(dir, "verified", "kept-*"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	info, err := os.Stat(files[0])
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "readings are nobody else's business")
	require.NoError(t, os.Truncate(files[0], 5))
	assert.Nil(t, h.Kept(origin, "1 2 4"))
	require.NoError(t, os.Remove(files[0]))
	require.NoError(t, os.Mkdir(files[0], 0o700))
	assert.Nil(t, h.Kept(origin, "1 2 4"))
}
