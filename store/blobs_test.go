package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"testing"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestBlobPlace(t *testing.T) {
	dir := t.TempDir()
	s := openTest(t, dir)
	sum, err := s.PutBlob(context.Background(), []byte("abc"))
	require.NoError(t, err)
	// SHA-256 of "abc": FIPS 180-2, appendix B.1.
	const abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	assert.Equal(t, abc, hex.EncodeToString(sum[:]))
	data, err := os.ReadFile(filepath.Join(dir, "blobs", "ba", abc))
	require.NoError(t, err)
	assert.Equal(t, "abc", string(data))
}

func TestBlobFaults(t *testing.T) {
	ctx := context.Background()
	s := openTest(t, t.TempDir())
	data := []byte("capture")
	sum, err := s.PutBlob(ctx, data)
	require.NoError(t, err)
	path := s.blobPath(sum)

	require.NoError(t, os.WriteFile(path, []byte("Capture"), 0o644))
	_, err = s.Blob(ctx, sum)
	assert.ErrorIs(t, err, ledger.ErrAlteredBlob)
	assert.ErrorContains(t, err, path)

	again, err := s.PutBlob(ctx, data)
	require.NoError(t, err)
	assert.Equal(t, sum, again)
	got, err := s.Blob(ctx, sum)
	require.NoError(t, err, "storing the right bytes again mends it")
	assert.Equal(t, data, got)

	require.NoError(t, os.Remove(path))
	_, err = s.Blob(ctx, sum)
	assert.ErrorIs(t, err, ledger.ErrNoBlob)

	require.NoError(t, os.Mkdir(path, 0o755))
	_, err = s.Blob(ctx, sum)
	assert.ErrorIs(t, err, ledger.ErrAlteredBlob, "a folder in its place")
	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Symlink(os.DevNull, path))
	_, err = s.Blob(ctx, sum)
	assert.ErrorIs(t, err, ledger.ErrAlteredBlob, "a device in its place")

	_, err = s.Blob(ctx, sha256.Sum256(nil))
	assert.ErrorIs(t, err, ledger.ErrNoBlob)
	empty, err := s.PutBlob(ctx, nil)
	require.NoError(t, err)
	got, err = s.Blob(ctx, empty)
	require.NoError(t, err)
	assert.Empty(t, got)
}

func TestBlobCannotBeWritten(t *testing.T) {
	dir := t.TempDir()
	s := openTest(t, dir)
	require.NoError(t, os.WriteFile(filepath.Join(dir, blobFolder), nil, 0o644))
	_, err := s.PutBlob(context.Background(), []byte("x"))
	require.Error(t, err)
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(err))
	assert.ErrorContains(t, err, blobFolder)
}

func TestUnfinishedBlobsAreCleared(t *testing.T) {
	dir := t.TempDir()
	s := openTest(t, dir)
	sum, err := s.PutBlob(context.Background(), bytes.Repeat([]byte("x"), 100_000))
	require.NoError(t, err)
	require.NoError(t, s.Close())
	half := filepath.Join(dir, blobFolder, unfinished+"1")
	require.NoError(t, os.WriteFile(half, []byte("half"), 0o600))
	r := openTestReader(t, dir)
	assert.FileExists(t, half, "a reader changes nothing")
	_, err = r.Blob(context.Background(), sum)
	require.NoError(t, err)
	openTest(t, dir)
	assert.NoFileExists(t, half)
}
