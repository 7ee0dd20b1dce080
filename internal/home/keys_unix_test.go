//go:build !windows

package home

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestPermissions(t *testing.T) {
	h := openTest(t)
	_, err := h.CreatePersonKey("r.mills", []byte("x"))
	require.NoError(t, err)
	_, err = h.CreateLogKey(testOrigin)
	require.NoError(t, err)
	require.NoError(t, h.Remember(testOrigin, checkpointOf(testOrigin, 1, 1)))
	_, err = h.DeviceID()
	require.NoError(t, err)
	files := 0
	require.NoError(t, filepath.WalkDir(h.Dir(), func(path string, d fs.DirEntry, err error) error {
		require.NoError(t, err)
		info, err := d.Info()
		require.NoError(t, err)
		want := fs.FileMode(0o600)
		switch {
		case d.IsDir():
			want = 0o700
		case filepath.Ext(path) == ".pub":
			want = 0o644
		}
		files++
		assert.Equal(t, want, info.Mode().Perm(), path)
		return nil
	}))
	assert.Equal(t, 4+5, files, "folders and files")

	person := filepath.Join(h.Dir(), "people-keys", "person-r.mills.key")
	log, err := h.logKeyFile(testOrigin)
	require.NoError(t, err)
	for _, mode := range []fs.FileMode{0o640, 0o604, 0o660, 0o644, 0o610, 0o601} {
		require.NoError(t, os.Chmod(person, mode))
		require.NoError(t, os.Chmod(log, mode))
		_, err = h.PersonKey("r.mills", []byte("x"))
		requireClass(t, diag.ClassBadInput, err, person, "others on this computer can read or change this private key")
		assert.Contains(t, diag.HintOf(err), "chmod 600 "+person)
		_, err = h.PersonPublicKey("r.mills")
		requireClass(t, diag.ClassBadInput, err)
		_, err = h.LogKey(testOrigin)
		requireClass(t, diag.ClassBadInput, err, log)
	}
	for _, mode := range []fs.FileMode{0o600, 0o400} {
		require.NoError(t, os.Chmod(person, mode))
		_, err = h.PersonKey("r.mills", []byte("x"))
		require.NoError(t, err)
	}
}

func TestPipeInPlaceOfAKey(t *testing.T) {
	h, path := keyFile(t, nil)
	require.NoError(t, os.Remove(path))
	require.NoError(t, syscall.Mkfifo(path, 0o600))
	_, err := h.PersonKey("r.mills", []byte("x"))
	requireClass(t, diag.ClassBadInput, err, path, "is not a regular file")
}
