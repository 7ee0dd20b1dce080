package home

import (
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// counting is a source of bytes 0, 1, 2, … that tests can foretell.
type counting struct{ next byte }

func (c *counting) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = c.next
		c.next++
	}
	return len(p), nil
}

func openTest(t testing.TB) *Home {
	t.Helper()
	h, err := Open(filepath.Join(t.TempDir(), "hvproof"), &counting{})
	require.NoError(t, err)
	return h
}

// requireClass requires an error of a class, with these words in it.
func requireClass(t *testing.T, class diag.Class, err error, words ...string) {
	t.Helper()
	require.Error(t, err)
	assert.Equal(t, class, diag.ClassOf(err), "%v", err)
	for _, w := range words {
		assert.ErrorContains(t, err, w)
	}
}

func TestOpenCreatesNothing(t *testing.T) {
	h := openTest(t)
	people, err := h.People()
	require.NoError(t, err)
	assert.Empty(t, people)
	checkpoint, err := h.Remembered("hvproof/finch/a/b")
	require.NoError(t, err)
	assert.Nil(t, checkpoint)
	_, err = h.LogKey("hvproof/finch/a/b")
	assert.ErrorIs(t, err, ErrNoKey)
	assert.NoFileExists(t, h.Dir())
	assert.NoDirExists(t, h.Dir())
}

func TestOpenRefuses(t *testing.T) {
	_, err := Open("", &counting{})
	requireClass(t, diag.ClassBadInput, err, "no configuration folder")
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	_, err = Open(file, &counting{})
	requireClass(t, diag.ClassBadInput, err, "is not a folder")
}

func TestDeviceID(t *testing.T) {
	h := openTest(t)
	id, err := h.DeviceID()
	require.NoError(t, err)
	assert.Equal(t, "aaaqeaye", id, "the bytes 0 to 4 in base32 (RFC 4648, section 6), small letters")
	again, err := h.DeviceID()
	require.NoError(t, err)
	assert.Equal(t, id, again)
	assert.Equal(t, "aaaqeaye\n", read(t, filepath.Join(h.Dir(), "device-id")))
	info, err := os.Stat(h.Dir())
	require.NoError(t, err)
	assert.Equal(t, fs.FileMode(0o700), info.Mode().Perm())

	for _, content := range []string{"", "aaaqeaye", "AAAQEAYE\n", "aaaqeaye\n\n", "aaaqeay\n", "aaaqeay1\n", "../../..\n"} {
		require.NoError(t, os.WriteFile(filepath.Join(h.Dir(), "device-id"), []byte(content), 0o600))
		_, err = h.DeviceID()
		requireClass(t, diag.ClassMachine, err, "is not a device id")
	}
}

func TestDeviceIDIsMadeOnce(t *testing.T) {
	dir := t.TempDir()
	ids := make([]string, 8)
	var all sync.WaitGroup
	for i := range ids {
		all.Go(func() {
			h, err := Open(dir, &counting{next: byte(10 * i)})
			if assert.NoError(t, err) {
				ids[i], err = h.DeviceID()
				assert.NoError(t, err)
			}
		})
	}
	all.Wait()
	for _, id := range ids {
		assert.Equal(t, ids[0], id)
	}
	files, err := os.ReadDir(dir)
	require.NoError(t, err)
	assert.Len(t, files, 1, "no temporary file is left")
}

func TestNoRandomBytes(t *testing.T) {
	h, err := Open(t.TempDir(), strings.NewReader("abc"))
	require.NoError(t, err)
	_, err = h.DeviceID()
	requireClass(t, diag.ClassMachine, err, "reading random bytes")
	_, err = h.CreateLogKey("o")
	requireClass(t, diag.ClassMachine, err, "reading random bytes")
}

// Distinct origins have distinct files, also without regard to case, and no
// origin leaves its folder.
func TestFileNames(t *testing.T) {
	name := func(origin string) string {
		n, err := fileName("log-", origin, ".key")
		require.NoError(t, err)
		return n
	}
	assert.Equal(t, "log-hvproof_2ffinch_2faaaqeaye_2fk3f9_2fpractice.key", name("hvproof/finch/aaaqeaye/k3f9/practice"))
	assert.Equal(t, "log-.._2f..key", name("../."))
	_, err := fileName("log-", "", ".key")
	requireClass(t, diag.ClassBadInput, err, "without origin")
	_, err = fileName("log-", strings.Repeat("a", 300), ".key")
	requireClass(t, diag.ClassBadInput, err, "too long")
	rapid.Check(t, func(t *rapid.T) {
		a, b := rapid.StringN(1, 40, 50).Draw(t, "a"), rapid.StringN(1, 40, 50).Draw(t, "b")
		one, err := fileName("log-", a, ".key")
		require.NoError(t, err)
		two, err := fileName("log-", b, ".key")
		require.NoError(t, err)
		require.Equal(t, a == b, strings.EqualFold(one, two))
		require.Equal(t, one, filepath.Base(one))
		require.Equal(t, "", strings.Trim(one, "abcdefghijklmnopqrstuvwxyz0123456789._-"))
	})
}

// A pipe in place of a file is an error, not a wait.
func TestIrregularFiles(t *testing.T) {
	h := openTest(t)
	require.NoError(t, os.MkdirAll(filepath.Join(h.Dir(), "device-id"), 0o700))
	_, err := h.DeviceID()
	requireClass(t, diag.ClassMachine, err, "is not a regular file")
	large := filepath.Join(t.TempDir(), "large")
	require.NoError(t, os.WriteFile(large, bytes.Repeat([]byte("x"), maxFile+1), 0o600))
	_, err = readRegular(large)
	assert.ErrorContains(t, err, "is longer than 65536 bytes")
}

func read(t *testing.T, path string) string {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	return string(data)
}
