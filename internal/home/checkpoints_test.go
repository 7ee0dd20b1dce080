package home

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// checkpointOf is a checkpoint whose root is 32 times the byte root.
func checkpointOf(origin string, size int64, root byte) []byte {
	hash := base64.StdEncoding.EncodeToString(bytes.Repeat([]byte{root}, 32))
	return fmt.Appendf(nil, "%s\n%d\n%s\n\n— %s AAAA\n", origin, size, hash, origin)
}

func TestRemember(t *testing.T) {
	h := openTest(t)
	for size := int64(1); size <= 3; size++ {
		want := checkpointOf(testOrigin, size, byte(size))
		require.NoError(t, h.Remember(testOrigin, want))
		require.NoError(t, h.Remember(testOrigin, want), "a second time does nothing")
		got, err := h.Remembered(testOrigin)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	other, err := h.Remembered(testOrigin + "/practice")
	require.NoError(t, err)
	assert.Nil(t, other, "each log has its own")

	t.Run("with another signature", func(t *testing.T) {
		more := append(checkpointOf(testOrigin, 3, 3), "— witness BBBB\n"...)
		require.NoError(t, h.Remember(testOrigin, more))
	})
	want, err := h.Remembered(testOrigin)
	require.NoError(t, err)
	for name, back := range map[string][]byte{
		"fewer entries": checkpointOf(testOrigin, 2, 2),
		"another root":  checkpointOf(testOrigin, 3, 9),
	} {
		err := h.Remember(testOrigin, back)
		requireClass(t, diag.ClassNo, err, testOrigin, "3 entries with root")
		assert.ErrorIs(t, err, ErrBackwards, name)
		got, err := h.Remembered(testOrigin)
		require.NoError(t, err)
		assert.Equal(t, want, got, name)
	}
	require.NoError(t, h.RememberLoss(testOrigin, checkpointOf(testOrigin, 2, 2)))
	require.NoError(t, h.Remember(testOrigin, checkpointOf(testOrigin, 3, 9)), "from the loss it goes on")
	files, err := os.ReadDir(filepath.Join(h.Dir(), "checkpoints"))
	require.NoError(t, err)
	assert.Len(t, files, 1, "no temporary file is left")
}

func TestRememberRefuses(t *testing.T) {
	h := openTest(t)
	good := string(checkpointOf(testOrigin, 7, 1))
	for _, bad := range []string{
		"", "x", testOrigin + "\n7\n", "\n7\n" + good[len(testOrigin)+3:],
		testOrigin + "\n07\n" + good[len(testOrigin)+3:], testOrigin + "\n-1\n" + good[len(testOrigin)+3:],
		testOrigin + "\n+7\n" + good[len(testOrigin)+3:], testOrigin + "\n7\nAAAA\n\n", testOrigin + "\n7\n!\n\n",
		string(checkpointOf("hvproof/other/a/b", 7, 1)),
	} {
		requireClass(t, diag.ClassMachine, h.Remember(testOrigin, []byte(bad)), "checkpoint of "+testOrigin)
		requireClass(t, diag.ClassMachine, h.RememberLoss(testOrigin, []byte(bad)), "checkpoint of "+testOrigin)
	}
	assert.NoDirExists(t, h.Dir())
}

// A spoilt file is an error, never "nothing remembered": that would hide a
// roll-back.
func TestSpoiltCheckpoint(t *testing.T) {
	h := openTest(t)
	require.NoError(t, h.Remember(testOrigin, checkpointOf(testOrigin, 7, 1)))
	name, err := fileName("checkpoint-", testOrigin, "")
	require.NoError(t, err)
	path := filepath.Join(h.Dir(), "checkpoints", name)
	for _, content := range []string{"", "rubbish", string(checkpointOf("hvproof/other/a/b", 9, 1))} {
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		_, err := h.Remembered(testOrigin)
		requireClass(t, diag.ClassMachine, err, path)
		assert.NotEmpty(t, diag.HintOf(err))
		requireClass(t, diag.ClassMachine, h.Remember(testOrigin, checkpointOf(testOrigin, 8, 1)), path)
	}
}

func FuzzHead(f *testing.F) {
	f.Add(checkpointOf(testOrigin, 7, 1))
	f.Add([]byte("o\n0\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n"))
	f.Fuzz(func(t *testing.T, checkpoint []byte) {
		c, err := parseHead(checkpoint)
		if err != nil {
			return
		}
		printed := fmt.Sprintf("%s\n%d\n%s\n", c.origin, c.size, c.root)
		assert.Equal(t, printed, string(checkpoint[:min(len(printed), len(checkpoint))]), "one spelling only")
	})
}
