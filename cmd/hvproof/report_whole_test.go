package main

import (
	"crypto/rand"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/home"
	"hvproof/internal/ledger"
)

// TestReportVerifiesWhole: a file of the record that is lost or altered after the
// log was verified is a fault on the next report and bundle, whatever this device
// remembers of having verified.
func TestReportVerifiesWhole(t *testing.T) {
	c := newTriedCar(t)
	code, out, errs := c.hvproof("-C", c.dir, "report")
	require.Equal(t, 0, code, errs)
	require.NotContains(t, out, "DOES NOT VERIFY")
	code, answer, errs := c.hvproof("-C", c.dir, "log", "--json")
	require.Equal(t, 0, code, errs)
	var log logDocument
	require.NoError(t, json.Unmarshal([]byte(answer), &log))
	head, err := ledger.ParseCheckpoint([]byte(log.Checkpoint))
	require.NoError(t, err)
	h, err := home.Open(c.config, rand.Reader)
	require.NoError(t, err)
	require.NoError(t, h.RememberVerified(head.Origin, verifier(), head.Size, head.Root)) // as after 500 entries more
	blobs, err := filepath.Glob(filepath.Join(c.dir, "blobs", "*", "*"))
	require.NoError(t, err)
	require.NotEmpty(t, blobs)
	require.NoError(t, os.Chmod(blobs[0], 0o600))
	was, err := os.ReadFile(blobs[0])
	require.NoError(t, err)
	for what, change := range map[string]func() error{
		"missing-blob": func() error { return os.Remove(blobs[0]) },
		"altered-blob": func() error { return os.WriteFile(blobs[0], append(was, '\n'), 0o600) },
	} {
		require.NoError(t, change())
		code, out, _ = c.hvproof("-C", c.dir, "report")
		assert.Equal(t, 1, code, what)
		assert.True(t, strings.Contains(out, ">>>  DOES NOT VERIFY  <<<") && strings.Contains(out, what), "page one says %s", what)
		code, _, errs = c.hvproof("-C", c.dir, "bundle", "-o", filepath.Join(t.TempDir(), "b.zip"))
		assert.NotEqual(t, 0, code, what)
		assert.NotEmpty(t, errs)
		require.NoError(t, os.WriteFile(blobs[0], was, 0o600))
	}
}
