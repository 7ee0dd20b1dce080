package home

import (
	"crypto/rand"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestHeld: what was noted comes back for the same log and program and for no
// other, the newest of many, and nothing of a file that was cut or altered.
func TestHeld(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "config")
	h, err := Open(dir, rand.Reader)
	require.NoError(t, err)
	const origin = "hvproof/wren/b2c4/k3f9"
	assert.Empty(t, h.Held(origin, "one"))
	held := [][32]byte{{1, 2}, {3}}
	require.NoError(t, h.RememberHeld(origin, "one", held))
	assert.Equal(t, held, h.Held(origin, "one"))
	assert.Empty(t, h.Held(origin, "two"))
	assert.Empty(t, h.Held("hvproof/wren/b2c4/k3f8", "one"))

	files, err := filepath.Glob(filepath.Join(dir, "verified", "held-*"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	text, err := os.ReadFile(files[0])
	require.NoError(t, err)
	for _, bad := range []string{string(text[:len(text)-1]), string(text) + "\n", string(text) + "xy\n", ""} {
		require.NoError(t, os.WriteFile(files[0], []byte(bad), 0o600))
		assert.Empty(t, h.Held(origin, "one"), "%q", bad)
	}

	var many [][32]byte
	for i := range mostHeld + 7 {
		many = append(many, [32]byte{byte(i), byte(i >> 8), 1})
	}
	require.NoError(t, h.RememberHeld(origin, "one", many))
	assert.Equal(t, many[7:], h.Held(origin, "one"))
}
