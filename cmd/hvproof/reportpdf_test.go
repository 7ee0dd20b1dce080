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
	made("short.pdf", "--short")
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
	assert.Contains(t, check(0, "short.pdf"), "byte for byte")
	c.bench()
	assert.Contains(t, check(0, "one.pdf"), "byte for byte", "the log grew: the page is still that of then")
	forged := bytes.Clone(one)
	forged[bytes.Index(forged, []byte("stream"))+40] ^= 1
	require.NoError(t, os.WriteFile(filepath.Join(dir, "forged.pdf"), forged, 0o600))
	assert.Contains(t, check(1, "forged.pdf"), "altered-blob")
	names := filepath.Join(c.dir, "people.yaml")
	was := bytesOf(t, names)
	require.NoError(t, os.WriteFile(names, []byte("format: 1\npeople:\n  operator: {name: A. Other}\n"), 0o600))
	code, out, errs = c.hvproof("verify", filepath.Join(dir, "one.pdf"), "-C", c.dir)
	assert.Equal(t, 1, code, errs)
	assert.Contains(t, out, "people.yaml, which gives people their names, was another one when it was made")
	assert.Contains(t, out, "one.pdf SAYS WAS NOT CHECKED")
	assert.NotContains(t, out, "edited by hand")
	for _, name := range []string{"car.pdf", "short.pdf"} {
		code, out, _ = c.hvproof("verify", filepath.Join(dir, name), "-C", c.dir)
		assert.Equal(t, 1, code)
		assert.Contains(t, out, "files of the car folder, on which the state of the whole car rests, were others")
	}
	code, out, errs = elsewhere(t, "verify", filepath.Join(dir, "one.pdf"), "--against", bundle)
	assert.Equal(t, 0, code, "the bundle has them: "+out+errs)
	require.NoError(t, os.WriteFile(names, was, 0o600))
	rules := filepath.Join(c.dir, "rules", "house.yaml")
	was = bytesOf(t, rules)
	require.NoError(t, os.WriteFile(rules, append(was, "# a word\n"...), 0o600))
	code, out, errs = c.hvproof("verify", "--json", filepath.Join(dir, "one.pdf"), "-C", c.dir)
	assert.Equal(t, 0, code, "a run rests on its frozen plan, not on today's rules: "+out+errs)
	assert.Contains(t, out, `"page":"as made"`)
	require.NoError(t, os.WriteFile(rules, was, 0o600))
	older := bytes.Replace(one, []byte("hvproof-report|"+version), []byte("hvproof-report|0.0.1"), 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "older.pdf"), older, 0o600))
	said := check(0, "older.pdf")
	assert.Contains(t, said, "not comparable")
	assert.Contains(t, said, "older.pdf SAYS WAS NOT CHECKED, only the record that it is made of")
	assert.Contains(t, said, "the record of "+filepath.Join(dir, "older.pdf")+" verifies")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "other.pdf"), []byte("%PDF-1.4\n"), 0o600))
	assert.Contains(t, check(1, "other.pdf"), "malformed-entry")
	code, _, _ = c.hvproof("-C", c.dir, "report", run, "--car")
	assert.Equal(t, 2, code)
}
