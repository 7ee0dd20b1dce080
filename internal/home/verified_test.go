package home

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestVerified: what is not exactly as it was written is as if it were not there.
func TestVerified(t *testing.T) {
	const origin = "hvproof/sandpiper/bench-1/k3f9"
	h, err := Open(t.TempDir(), nil)
	require.NoError(t, err)
	size, _ := h.Verified(origin, "hvproof 1")
	assert.Zero(t, size)
	require.NoError(t, h.RememberVerified(origin, "hvproof 1", 1234, [32]byte{7}))
	size, root := h.Verified(origin, "hvproof 1")
	assert.Equal(t, int64(1234), size)
	assert.Equal(t, [32]byte{7}, root)
	size, _ = h.Verified(origin, "hvproof 2")
	assert.Zero(t, size, "another program")
	size, _ = h.Verified("hvproof/sandpiper/bench-1/other", "hvproof 1")
	assert.Zero(t, size, "another log")
	files, err := filepath.Glob(filepath.Join(h.dir, "verified", "*"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	text, err := os.ReadFile(files[0])
	require.NoError(t, err)
	for i := range text {
		b := append([]byte(nil), text...)
		b[i] ^= 1
		require.NoError(t, os.WriteFile(files[0], b, 0o600))
		if size, root := h.Verified(origin, "hvproof 1"); size != 0 {
			assert.True(t, size != 1234 || root != [32]byte{7}, "byte %d: read as another size or root, which no log has", i)
		}
	}
	require.NoError(t, os.WriteFile(files[0], nil, 0o600))
	size, _ = h.Verified(origin, "hvproof 1")
	assert.Zero(t, size)
}
