package main

import (
	"crypto/ed25519"
	"crypto/rand"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/internal/run"
)

// verifiedBefore notes that this device has verified the log to its end, as it
// does after 500 entries more.
func (c *triedCar) verifiedBefore() {
	c.t.Helper()
	code, answer, errs := c.hvproof("-C", c.dir, "log", "--json")
	require.Equal(c.t, 0, code, errs)
	var log logDocument
	require.NoError(c.t, json.Unmarshal([]byte(answer), &log))
	head, err := ledger.ParseCheckpoint([]byte(log.Checkpoint))
	require.NoError(c.t, err)
	h, err := home.Open(c.config, rand.Reader)
	require.NoError(c.t, err)
	require.NoError(c.t, h.RememberVerified(head.Origin, verifier(), head.Size, head.Root))
}

// TestReadyLooksAtFiles: any file of a run that a proof rests on, lost or altered
// after the log was verified, keeps ready from saying yes, permit grant from
// granting and run from beginning, whatever this device remembers of having
// verified; and when it is back, so is the yes.
func TestReadyLooksAtFiles(t *testing.T) {
	c := newTriedCar(t)
	c.verifiedBefore()
	blobs, err := filepath.Glob(filepath.Join(c.dir, "blobs", "*", "*"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(blobs), 2, "a plan and the meters at least")
	before, _, _ := c.hvproof("-C", c.dir, "log", "--json")
	require.Equal(t, 0, before)
	for _, blob := range blobs {
		require.NoError(t, os.Chmod(blob, 0o600))
		was, err := os.ReadFile(blob)
		require.NoError(t, err)
		other := append([]byte{}, was...)
		other[len(other)/2] ^= 1
		for what, change := range map[string]func() error{
			"removed": func() error { return os.Remove(blob) },
			"altered": func() error { return os.WriteFile(blob, other, 0o600) },
		} {
			require.NoError(t, change())
			code, out, errs := c.hvproof("-C", c.dir, "ready")
			assert.Equal(t, 1, code, what+out+errs)
			assert.Contains(t, out, "the log does not verify: entry ", what)
			assert.NotContains(t, out, "power may come on", what)
			code, out, errs = c.hvproof("-C", c.dir, "permit", "grant", "--answers", "permit.yaml")
			assert.Equal(t, 1, code, what+out+errs)
			assert.Contains(t, errs, "the log does not verify: entry ", what)
			code, out, errs = c.hvproof("-C", c.dir, "run", "bench", "--answers", "passes.yaml")
			assert.Equal(t, 1, code, what)
			assert.Contains(t, out+errs, "the log does not verify: entry ", what)
			require.NoError(t, os.WriteFile(blob, was, 0o600))
		}
		code, out, errs := c.hvproof("-C", c.dir, "ready")
		assert.Equal(t, 0, code, out+errs)
	}
}

// TestLogBeforeIsGone: a log that says from which it goes on, and that one is not
// there, is said so, and is a reason: what the other holds open is not known.
func TestLogBeforeIsGone(t *testing.T) {
	c := newTriedCar(t)
	code, out, errs := c.hvproof("-C", c.dir, "ready")
	require.Equal(t, 0, code, out+errs)
	c.config = t.TempDir() // another device
	_, key, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(t, err)
	a := &app{dir: c.dir, out: io.Discard, err: io.Discard, now: time.Now, started: time.Now(),
		env: func(name string) string { return map[string]string{"HVPROOF_CONFIG": c.config}[name] }}
	gone := ledger.Predecessor{Origin: "hvproof/wren/elsewher/gonegone/practice", Size: 41}
	first := person{id: "releaser", roles: []people.Role{people.Releaser}, key: key}
	require.NoError(t, a.createLog(t.Context(), c.dir, first, true, &gone))
	code, out, _ = c.hvproof("-C", c.dir, "ready", "--json")
	assert.Equal(t, 1, code)
	assert.Contains(t, out, "the log goes on from "+gone.Origin+" with 41 entries, which is not in this folder: what is open in it is not known")
	code, _, errs = c.hvproof("-C", c.dir, "verify")
	assert.Equal(t, 0, code, errs)
}

// TestNotedOnlyIfFolded: how far a log was verified is noted only if every run of
// it could be folded, since decisions below that are not made again. A run that
// claims more than its own numbers give stands against a yes however often it is
// asked for.
func TestNotedOnlyIfFolded(t *testing.T) {
	c := newTriedCar(t)
	benches(t, c.dir, c.config, noteVerified/6)
	noted := filepath.Join(c.config, "verified")
	require.NoError(t, os.RemoveAll(noted))
	for range 2 {
		code, out, errs := c.hvproof("-C", c.dir, "ready")
		require.Equal(t, 0, code, out+errs)
		assert.DirExists(t, noted)
	}

	c.chargeInstead()
	require.ErrorContains(t, c.forge(charging(0.0348), func(b *entry.Body) {
		for i, f := range b.Fields {
			if f.Name == "decision" {
				b.Fields[i].Value = run.Pass
			}
		}
	}), "its own numbers give fail")
	require.NoError(t, os.RemoveAll(noted))
	for range 2 {
		code, out, errs := c.hvproof("-C", c.dir, "ready")
		assert.Equal(t, 1, code, out)
		assert.Contains(t, errs, "its own numbers give fail")
		assert.NoDirExists(t, noted)
	}
}
