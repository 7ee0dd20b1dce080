package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestPDF prints a run twice, verifies the page in the car folder and against a
// bundle, lets the log grow, and then edits the page by hand.
func TestPDF(t *testing.T) {
	c := newTriedCar(t)
	code, out, errs := c.hvproof("-C", c.dir, "export", "--json")
	require.Equal(t, 0, code, errs)
	var doc exportDocument
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	run := doc.Readings[0].Run
	dir := t.TempDir()
	made := func(name string, args ...string) []byte {
		file := filepath.Join(dir, name)
		code, _, errs := c.hvproof(append([]string{"-C", c.dir, "report", "--pdf", file, "--issued", "2027-03-20T09:00:00+01:00"}, args...)...)
		require.Equal(t, 0, code, errs)
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		return b
	}
	one := made("one.pdf", run)
	require.Equal(t, one, made("two.pdf", run), "the same log and time give the same bytes")
	made("car.pdf", "--car")
	bundle := c.bundled()
	check := func(want int, name string) string {
		t.Helper()
		var outs string
		for _, args := range [][]string{{"-C", c.dir}, {"--against", bundle}} {
			code, out, errs := c.hvproof(append([]string{"verify", filepath.Join(dir, name)}, args...)...)
			if args[0] == "--against" { // this device remembers more than an older bundle holds
				code, out, errs = elsewhere(t, append([]string{"verify", filepath.Join(dir, name)}, args...)...)
			}
			require.Equal(t, want, code, out+errs)
			outs += out + errs
		}
		return outs
	}
	assert.Contains(t, check(0, "one.pdf"), "byte for byte")
	assert.Contains(t, check(0, "car.pdf"), "byte for byte")
	c.bench()
	assert.Contains(t, check(0, "one.pdf"), "byte for byte", "the log grew: the page is still that of then")
	forged := bytes.Clone(one)
	forged[bytes.Index(forged, []byte("stream"))+40] ^= 1
	require.NoError(t, os.WriteFile(filepath.Join(dir, "forged.pdf"), forged, 0o600))
	assert.Contains(t, check(1, "forged.pdf"), "altered-blob")
	older := bytes.Replace(one, []byte("hvproof-report|"+version), []byte("hvproof-report|0.0.1"), 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "older.pdf"), older, 0o600))
	assert.Contains(t, check(0, "older.pdf"), "not comparable")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "other.pdf"), []byte("%PDF-1.4\n"), 0o600))
	assert.Contains(t, check(1, "other.pdf"), "malformed-entry")
	code, _, _ = c.hvproof("-C", c.dir, "report", run, "--car")
	assert.Equal(t, 2, code)
}
