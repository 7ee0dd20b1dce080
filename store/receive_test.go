package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// unfinishedFiles gives the names of what lies half written in a car folder.
func unfinishedFiles(t *testing.T, dir string) (names []string) {
	t.Helper()
	files, err := os.ReadDir(filepath.Join(dir, "blobs"))
	require.NoError(t, err)
	for _, f := range files {
		if strings.HasPrefix(f.Name(), "unfinished-") {
			names = append(names, f.Name())
		}
	}
	return names
}

// TestReceive: a file is in the log's store when it is kept, and nowhere when
// it is not; SHA-256 of "abc" is that of FIPS 180-2, appendix B.1.
func TestReceive(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	s := openTest(t, dir)
	r, err := s.Receive(ctx, iotest.OneByteReader(strings.NewReader("abc")))
	require.NoError(t, err)
	assert.Equal(t, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad", hex.EncodeToString(r.sum[:]))
	assert.Equal(t, int64(3), r.Size())
	_, err = s.Blob(ctx, r.Digest())
	require.Error(t, err, "it has no name yet")
	b, err := r.Bytes()
	require.NoError(t, err)
	assert.Equal(t, "abc", string(b))
	require.NoError(t, r.Keep())
	require.NoError(t, r.Keep(), "twice is once")
	b, err = s.Blob(ctx, sha256.Sum256([]byte("abc")))
	require.NoError(t, err)
	assert.Equal(t, "abc", string(b))
	r.Discard()
	_, err = s.Blob(ctx, r.Digest())
	require.NoError(t, err, "what is kept is not discarded")
	assert.Empty(t, unfinishedFiles(t, dir))

	r, err = s.Receive(ctx, strings.NewReader("not wanted"))
	require.NoError(t, err)
	assert.Len(t, unfinishedFiles(t, dir), 1)
	r.Discard()
	assert.Empty(t, unfinishedFiles(t, dir))
	_, err = s.Receive(ctx, io.MultiReader(strings.NewReader("half"), iotest.ErrReader(errors.New("line lost"))))
	require.ErrorContains(t, err, "did not come whole: line lost")
	assert.Empty(t, unfinishedFiles(t, dir), "half a file leaves nothing")

	_, err = s.Receive(ctx, strings.NewReader("killed now"))
	require.NoError(t, err)
	require.Len(t, unfinishedFiles(t, dir), 1)
	require.NoError(t, s.Close())
	openTest(t, dir)
	assert.Empty(t, unfinishedFiles(t, dir), "the next one who writes removes it")
}
