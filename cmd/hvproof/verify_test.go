package main

import (
	"bytes"
	"encoding/json"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
)

// A tried car is a practice folder with a passed run in its log, and the
// configuration folder of the device that wrote it.
type triedCar struct {
	t      *testing.T
	dir    string
	config string
	stdin  string // what is typed
}

func newTriedCar(t *testing.T) *triedCar {
	t.Helper()
	c := &triedCar{t: t, dir: filepath.Join(t.TempDir(), "car"), config: t.TempDir()}
	code, _, errs := c.hvproof("init", c.dir, "--practice")
	require.Equal(t, 0, code, errs)
	require.NoError(t, fillCar(c.dir))
	c.bench()
	return c
}

// bench adds a passed run to the log.
func (c *triedCar) bench() {
	c.t.Helper()
	code, out, errs := c.hvproof("-C", c.dir, "run", "bench", "--answers", "passes.yaml")
	require.Equal(c.t, 0, code, out+errs)
}

// hvproof runs the program with this device's configuration folder.
func (c *triedCar) hvproof(args ...string) (code int, out, errs string) {
	c.t.Helper()
	var stdout, stderr bytes.Buffer
	env := func(name string) string {
		if name == "HVPROOF_CONFIG" {
			return c.config
		}
		return ""
	}
	code = program(c.t.Context(), args, strings.NewReader(c.stdin), &stdout, &stderr, env, time.Now)
	return code, stdout.String(), stderr.String()
}

// verify gives the exit code and the document of hvproof verify.
func (c *triedCar) verify(args ...string) (int, verifyDocument) {
	c.t.Helper()
	code, out, errs := c.hvproof(append([]string{"verify", "--json"}, args...)...)
	var d verifyDocument
	require.NoError(c.t, json.Unmarshal([]byte(out), &d), "%s%s", out, errs)
	return code, d
}

// faults gives the codes of the faults, each once, in the order of the log.
func faults(d verifyDocument) []string {
	list := []string{}
	for _, f := range d.Faults {
		if !slices.Contains(list, f.Code) {
			list = append(list, f.Code)
		}
	}
	return list
}

// copied copies the car folder.
func (c *triedCar) copied() string {
	c.t.Helper()
	to := filepath.Join(c.t.TempDir(), "copy")
	require.NoError(c.t, os.CopyFS(to, os.DirFS(c.dir)))
	return to
}

func TestVerifyWhole(t *testing.T) {
	c := newTriedCar(t)
	code, d := c.verify(c.dir)
	assert.Equal(t, 0, code)
	assert.True(t, d.OK)
	assert.True(t, d.Practice)
	assert.Equal(t, int64(len(c.read().notes)), d.Entries)
	assert.Equal(t, c.read().checkpoint, d.Checkpoint)
	assert.Empty(t, d.Faults)
	require.Len(t, d.Logs, 1)
	assert.True(t, d.Logs[0].Remembered)
	assert.Len(t, d.Logs[0].People, 3)
	assert.Regexp(t, `^(\d{5} ){11}\d{5}$`, d.Logs[0].Fingerprint)

	code, out, _ := c.hvproof("-C", c.dir, "verify")
	assert.Equal(t, 0, code)
	for _, want := range []string{"PRACTICE - never evidence\n", "verifies: ", "no fault", d.Logs[0].Fingerprint, "began the log",
		"introduced by", "not proven: that what was typed is what the meter showed", "nothing was removed since this device last saw the log"} {
		assert.Contains(t, out, want)
	}

	before := c.files()
	c.config = filepath.Join(t.TempDir(), "nothing")
	code, out, errs := c.hvproof("verify", c.dir)
	assert.Equal(t, 0, code, errs)
	assert.Contains(t, out, "this device remembers nothing of the log: whether it was longer once is not known")
	assert.NoDirExists(t, c.config, "looking leaves no traces")
	assert.Equal(t, before, c.files(), "looking leaves no traces")
}

// files lists the files of the car folder.
func (c *triedCar) files() (list []string) {
	c.t.Helper()
	require.NoError(c.t, filepath.WalkDir(c.dir, func(path string, d fs.DirEntry, err error) error {
		list = append(list, path)
		return err
	}))
	return list
}

// TestVerifyFaults tampers with the log in one way each, and expects exactly
// the fault's code; where the checkpoint was signed again as well, that which
// this device remembers tells more.
func TestVerifyFaults(t *testing.T) {
	tests := []struct {
		name       string
		codes      []string // without a memory of the log
		remembered []string // added by what this device remembers
		do         func(*triedCar)
	}{
		{"an altered entry", []string{"bad-signature"}, nil, func(c *triedCar) {
			r := c.read()
			i := r.find(entry.Reading)
			r.notes[i] = strings.Replace(r.notes[i], "0.4 V", "0.5 V", 1)
			c.write(r)
		}},
		{"an altered entry, its tree hash too", []string{"bad-signature", "bad-root", "bad-checkpoint"}, []string{"diverged"}, func(c *triedCar) {
			r := c.read()
			i := r.find(entry.Reading)
			r.notes[i] = strings.Replace(r.notes[i], "0.4 V", "0.5 V", 1)
			r.rehash()
			c.write(r)
		}},
		{"an entry that is none", []string{"malformed-entry"}, nil, func(c *triedCar) {
			r := c.read()
			r.notes[r.find(entry.Reading)] = "hello\n"
			c.write(r)
		}},
		{"a missing entry", []string{"missing-entry"}, nil, func(c *triedCar) { c.sql(`DELETE FROM entry WHERE "index" = 7`) }},
		{"the newest entry missing", []string{"missing-entry"}, nil, func(c *triedCar) {
			c.sql(`DELETE FROM entry WHERE "index" = (SELECT max("index") FROM entry)`)
		}},
		{"a missing entry, the others closed up", []string{"missing-entry"}, []string{"rolled-back"}, func(c *triedCar) {
			r := c.read()
			r.notes = slices.Delete(r.notes, 7, 8)
			r.rehash()
			r.sign(c)
			c.write(r)
		}},
		{"a doubled entry", []string{"doubled-entry"}, []string{"diverged"}, func(c *triedCar) {
			r := c.read()
			r.notes = slices.Insert(r.notes, 8, r.notes[7])
			r.rehash()
			r.sign(c)
			c.write(r)
		}},
		{"a moved entry", []string{"moved-entry"}, []string{"diverged"}, func(c *triedCar) {
			r := c.read()
			r.notes[7], r.notes[8] = r.notes[8], r.notes[7]
			r.rehash()
			r.sign(c)
			c.write(r)
		}},
		{"a foreign entry", []string{"foreign-entry"}, nil, func(c *triedCar) {
			other := newTriedCar(c.t).read()
			r := c.read()
			r.notes = append(r.notes, other.notes[len(other.notes)-1])
			r.rehash()
			r.sign(c)
			c.write(r)
		}},
		{"history rewritten and signed again", nil, []string{"diverged"}, func(c *triedCar) {
			r := c.read()
			i := r.find(entry.Reading)
			r.resign(c, i, func(e *entry.Entry) {
				for n := range e.Fields {
					if e.Fields[n].Name == "text" {
						e.Fields[n].Value = "0.3 V"
					}
				}
			})
			c.write(r)
		}},
		{"signed by somebody who may not", []string{"wrong-signer"}, nil, func(c *triedCar) {
			r := c.read()
			b := entry.Body{Kind: entry.Loss}
			b.Add("log-size", "99")
			b.Add("log-root", entry.FormatHash([32]byte{1}))
			b.Add("reason", "none")
			r.forge(c, b, "operator")
			c.write(r)
		}},
		{"an older state restored", nil, []string{"rolled-back"}, func(c *triedCar) {
			old := c.read()
			c.bench()
			c.write(old)
		}},
		{"the whole log emptied", []string{"missing-entry", "bad-checkpoint"}, nil, func(c *triedCar) {
			c.sql(`DELETE FROM entry`, `UPDATE log SET size = 0`)
		}},
		{"a checkpoint that nobody signed", []string{"bad-checkpoint"}, nil, func(c *triedCar) {
			c.sql(`UPDATE log SET checkpoint = replace(checkpoint, substr(checkpoint, -8, 3), 'AAA')`)
		}},
		{"practice that claims not to be", []string{"practice-as-evidence", "bad-checkpoint"}, nil, func(c *triedCar) {
			c.sql(`UPDATE entry SET origin = replace(origin, '/practice', '')`, `UPDATE log SET origin = replace(origin, '/practice', '')`)
		}},
		{"a log whose name is none", []string{"malformed-entry"}, nil, func(c *triedCar) {
			c.sql(`UPDATE entry SET origin = 'x'`, `UPDATE log SET origin = 'x'`)
		}},
		{"a missing blob", []string{"missing-blob"}, nil, func(c *triedCar) { require.NoError(c.t, os.Remove(c.blob())) }},
		{"an altered blob", []string{"altered-blob"}, nil, func(c *triedCar) {
			path := c.blob()
			data, err := os.ReadFile(path)
			require.NoError(c.t, err)
			require.NoError(c.t, os.WriteFile(path, append(data, '\n'), 0o644))
		}},
	}
	pages := 0
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			c := newTriedCar(t)
			test.do(c)
			code, d := c.verify(c.dir)
			assert.Equal(t, slices.Concat(test.codes, test.remembered), faults(d), "%v", d.Faults)
			assert.Equal(t, 1, code)
			assert.False(t, d.OK)
			code, out, _ := c.hvproof("verify", c.dir)
			assert.Equal(t, 1, code)
			assert.Contains(t, out, "DOES NOT VERIFY")
			assert.NotContains(t, out, "\nproven:")
			if c.faultyPage() {
				pages++
			}

			c.config = t.TempDir()
			code, d = c.verify(c.dir)
			assert.Equal(t, append([]string{}, test.codes...), faults(d), "without a memory: %v", d.Faults)
			assert.Equal(t, len(test.codes) == 0, code == 0)
		})
	}
	assert.Equal(t, 8, pages, "of the others no report can be made: they cannot be read through")
}

// TestVerifyRemarks: what is signed well and odd stays a remark, exit 0.
func TestVerifyRemarks(t *testing.T) {
	c := newTriedCar(t)
	r := c.read()
	b := entry.Body{Kind: entry.RunEnd, Run: "no-run"}
	b.Add("outcome", "passed")
	r.forge(c, b, "operator")
	c.write(r)
	code, d := c.verify(c.dir)
	assert.Equal(t, 0, code)
	require.NotEmpty(t, d.Remarks)
	assert.Equal(t, conductDocument{Entry: int64(len(r.notes) - 1), Code: "impossible-run",
		Sentence: "no run would have written this: run-end of the run no-run, which is not in this log or cannot be read; the run's later entries were not compared"},
		d.Remarks[len(d.Remarks)-1])
}

func TestVerifyAgainst(t *testing.T) {
	c := newTriedCar(t)
	note := filepath.Join(t.TempDir(), "checkpoint.txt")
	require.NoError(t, os.WriteFile(note, []byte(c.read().checkpoint), 0o644))
	older := c.copied()
	other := *c
	other.dir = c.copied()
	c.bench()
	c.config = t.TempDir() // nothing is remembered from here on
	newer := c.dir

	ok := func(dir, against string) {
		t.Helper()
		code, d := c.verify(dir, "--against", against)
		assert.Equal(t, 0, code, "%v", d.Faults)
	}
	no := func(want, dir, against string) {
		t.Helper()
		code, d := c.verify(dir, "--against", against)
		assert.Equal(t, 1, code)
		assert.Equal(t, []string{want}, faults(d), "%v", d.Faults)
	}
	ok(newer, note)
	ok(newer, older)
	ok(newer, filepath.Join(older, "hvproof.db"))
	no("rolled-back", older, newer)
	now := filepath.Join(t.TempDir(), "now.txt")
	require.NoError(t, os.WriteFile(now, []byte(c.read().checkpoint), 0o644))
	no("rolled-back", older, now)

	// The other copy goes on by itself, on the same device: two histories.
	require.NoError(t, os.RemoveAll(filepath.Join(other.config, "checkpoints")))
	other.bench()
	no("diverged", newer, other.dir)
	no("diverged", other.dir, newer)
	no("diverged", other.dir, now)

	// Another car's log has nothing to do with this one.
	stranger := newTriedCar(t)
	no("rolled-back", newer, stranger.dir)
	strange := filepath.Join(t.TempDir(), "strange.txt")
	require.NoError(t, os.WriteFile(strange, []byte(stranger.read().checkpoint), 0o644))
	no("bad-checkpoint", newer, strange)

	rubbish := filepath.Join(t.TempDir(), "rubbish")
	require.NoError(t, os.WriteFile(rubbish, []byte("hello"), 0o644))
	for _, bad := range []string{rubbish, filepath.Join(t.TempDir(), "absent"), t.TempDir()} {
		code, out, errs := c.hvproof("verify", newer, "--against", bad)
		assert.Equal(t, 2, code, errs)
		assert.Empty(t, out)
	}
}

// TestVerifyHandedOver: the log before and the one that goes on from it are
// both verified, the older one first, and held together.
func TestVerifyHandedOver(t *testing.T) {
	c := newTriedCar(t)
	first := c.read().origin
	c.config = t.TempDir() // another device
	code, _, errs := c.hvproof("-C", c.dir, "person", "hand-over", "releaser", "--reason", "a new laptop")
	require.Equal(t, 0, code, errs)
	code, d := c.verify(c.dir)
	assert.Equal(t, 0, code, "%v", d.Faults)
	require.Len(t, d.Logs, 2)
	assert.Equal(t, first, d.Logs[0].Origin)
	assert.False(t, d.Logs[0].Remembered)
	assert.True(t, d.Logs[1].Remembered)
	var codes []string
	for _, r := range d.Remarks {
		if r.Log == d.Logs[1].Origin {
			codes = append(codes, r.Code)
		}
	}
	assert.Equal(t, []string{"few-releasers", "hand-over"}, codes)

	c.sql(`DELETE FROM entry WHERE "index" > 3 AND origin = '`+first+`'`, `UPDATE log SET size = 4 WHERE origin = '`+first+`'`)
	code, d = c.verify(c.dir)
	assert.Equal(t, 1, code)
	assert.Equal(t, []string{"missing-entry", "rolled-back"}, faults(d), "%v", d.Faults)
}

func TestVerifyEvidence(t *testing.T) {
	c := newTriedCar(t)
	code, d := c.verify(c.dir, "--evidence")
	assert.Equal(t, 1, code)
	assert.Equal(t, []string{"not-evidence"}, faults(d))
}

// TestVerifyFiles hands verify files of all sorts.
func TestVerifyFiles(t *testing.T) {
	c := newTriedCar(t)
	copied := c.copied()
	named := filepath.Join(copied, "backup.sqlite")
	require.NoError(t, os.Rename(filepath.Join(copied, "hvproof.db"), named))
	code, d := c.verify(named)
	assert.Equal(t, 0, code, "%v", d.Faults)
	require.NoError(t, os.RemoveAll(filepath.Join(copied, "blobs")))
	code, d = c.verify(named)
	assert.Equal(t, 1, code)
	assert.Equal(t, []string{"missing-blob"}, faults(d))

	text := filepath.Join(t.TempDir(), "notes.txt")
	for _, content := range []string{"", "hello\n", "SQLite format 3"} {
		require.NoError(t, os.WriteFile(text, []byte(content), 0o644))
		code, d = c.verify(text)
		assert.Equal(t, 1, code)
		require.Len(t, d.Faults, 1)
		assert.Equal(t, string(ledger.MalformedEntry), d.Faults[0].Code)
		assert.Contains(t, d.Faults[0].Sentence, "is no log")
	}

	broken := filepath.Join(t.TempDir(), "hvproof.db")
	require.NoError(t, os.WriteFile(broken, []byte("SQLite format 3\x00 and nothing else"), 0o644))
	code, out, errs := c.hvproof("verify", broken)
	assert.Equal(t, 4, code)
	assert.Empty(t, out)
	assert.Contains(t, errs, "hvproof: error: ")

	for _, absent := range []string{filepath.Join(t.TempDir(), "absent"), t.TempDir()} {
		code, out, errs := c.hvproof("verify", absent)
		assert.Equal(t, 2, code)
		assert.Empty(t, out)
		assert.Contains(t, errs, "there is no")
	}
	code, _, _ = c.hvproof("verify", c.dir, c.dir)
	assert.Equal(t, 2, code)
}

// TestVerifyDamage: what SQLite finds wrong and the entries do not show is the
// machine's failure, never a verified log.
func TestVerifyDamage(t *testing.T) {
	c := newTriedCar(t)
	c.sql(`INSERT INTO entry SELECT origin, "index" + 99, hashes, note FROM entry WHERE "index" = 0`)
	code, out, errs := c.hvproof("verify", c.dir)
	assert.Equal(t, 4, code, out)
	assert.Contains(t, errs, "another number of entries than it says")
	assert.NotContains(t, out, "verifies")
}
