package main

import (
	"bytes"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"encoding/csv"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"hash/crc32"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/crypto/ssh"

	"hvproof/internal/entry"
	"hvproof/internal/home"
)

// bundled packs the car's logs and gives the file.
func (c *triedCar) bundled() string {
	c.t.Helper()
	file := filepath.Join(c.t.TempDir(), "evidence.zip")
	code, _, errs := c.hvproof("-C", c.dir, "bundle", "-o", file)
	require.Equal(c.t, 0, code, errs)
	return file
}

// elsewhere runs the program on a machine that knows nothing.
func elsewhere(t *testing.T, args ...string) (code int, out, errs string) {
	t.Helper()
	var stdout, stderr bytes.Buffer
	home := t.TempDir()
	env := func(name string) string { return map[string]string{"HVPROOF_CONFIG": home}[name] }
	code = program(t.Context(), args, strings.NewReader(""), &stdout, &stderr, env, time.Now)
	return code, stdout.String(), stderr.String()
}

func verifyElsewhere(t *testing.T, args ...string) (code int, codes []string) {
	t.Helper()
	code, out, errs := elsewhere(t, append([]string{"verify", "--json"}, args...)...)
	var doc verifyDocument
	require.NoError(t, json.Unmarshal([]byte(out), &doc), out+errs)
	for _, f := range doc.Faults {
		codes = append(codes, f.Code)
	}
	require.Equal(t, doc.OK, len(codes) == 0)
	return code, codes
}

func TestBundleElsewhere(t *testing.T) {
	c := newTriedCar(t)
	file := c.bundled()
	code, codes := verifyElsewhere(t, file)
	assert.Equal(t, 0, code)
	assert.Empty(t, codes)
	code, codes = verifyElsewhere(t, file, "--evidence")
	assert.Equal(t, 1, code)
	assert.Equal(t, []string{"not-evidence"}, codes)
	code, _, errs := c.hvproof("-C", c.dir, "bundle", "-o", file)
	assert.Equal(t, 2, code, "an existing file is never replaced")
	assert.Contains(t, errs, "exists already")
}

// TestBundleCompared grows a log, then restores it from a copy and goes on
// otherwise: a bundle from before tells where.
func TestBundleCompared(t *testing.T) {
	c := newTriedCar(t)
	older := c.bundled()
	backup := c.read()
	c.bench()
	newer := c.bundled()
	_, codes := verifyElsewhere(t, newer, "--against", older)
	assert.Empty(t, codes, "consistent growth")
	_, codes = verifyElsewhere(t, older, "--against", newer)
	assert.Equal(t, []string{"rolled-back"}, codes)
	require.NoError(t, os.RemoveAll(c.config+"/checkpoints"))
	c.write(backup)
	_, codes = verifyElsewhere(t, c.dir, "--against", newer)
	assert.Equal(t, []string{"rolled-back"}, codes, "a car folder against a bundle")
}

// TestBundleReportByHand alters the report in a bundle, and mends the
// container and the list of files: only making it anew tells.
func TestBundleReportByHand(t *testing.T) {
	c := newTriedCar(t)
	data, err := os.ReadFile(c.bundled())
	require.NoError(t, err)
	at := bytes.Index(data, []byte("Test report"))
	require.Positive(t, at)
	forged := slices.Clone(data)
	forged[at] = 'B'
	file := filepath.Join(t.TempDir(), "forged.zip")
	require.NoError(t, os.WriteFile(file, forged, 0o600))
	_, codes := verifyElsewhere(t, file)
	assert.Equal(t, []string{"malformed-entry"}, codes)
	require.NoError(t, os.WriteFile(file, mended(forged), 0o600))
	_, codes = verifyElsewhere(t, file)
	assert.Equal(t, []string{"altered-blob"}, codes)
	begin := bytes.LastIndex(data[:at], []byte(bundleReport)) + len(bundleReport)
	length := int(binary.LittleEndian.Uint32(data[begin-len(bundleReport)-30+18:]))
	digest := func(b []byte) []byte { return fmt.Appendf(nil, "%x", sha256.Sum256(b[begin:begin+length])) }
	forged = mended(bytes.Replace(forged, digest(data), digest(forged), 1))
	require.NoError(t, os.WriteFile(file, forged, 0o600))
	code, out, _ := elsewhere(t, "verify", file)
	assert.Equal(t, 1, code)
	assert.Contains(t, out, "is not the one that its record gives", "with its SHA-256 mended, too")
}

// mended gives every member its right checksum again.
func mended(b []byte) []byte {
	le := binary.LittleEndian
	b = slices.Clone(b)
	var sums []uint32
	at := 0
	for ; le.Uint32(b[at:]) == 0x04034b50; at += 30 + int(le.Uint16(b[at+26:])) + int(le.Uint32(b[at+18:])) {
		begin := at + 30 + int(le.Uint16(b[at+26:]))
		sum := crc32.ChecksumIEEE(b[begin : begin+int(le.Uint32(b[at+18:]))])
		le.PutUint32(b[at+14:], sum)
		sums = append(sums, sum)
	}
	for _, sum := range sums {
		le.PutUint32(b[at+16:], sum)
		at += 46 + int(le.Uint16(b[at+28:]))
	}
	return b
}

// TestCountersign: a scrutineer signs a bundle; the log that is rolled back
// afterwards does not agree with it.
func TestCountersign(t *testing.T) {
	c := newTriedCar(t)
	backup := c.read()
	c.bench()
	dir := t.TempDir()
	key := filepath.Join(dir, "id")
	private := ed25519.NewKeyFromSeed(bytes.Repeat([]byte{7}, 32))
	block, err := ssh.MarshalPrivateKey(private, "scrutineer")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(block), 0o600))
	public, err := ssh.NewPublicKey(private.Public())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(key+".pub", ssh.MarshalAuthorizedKey(public), 0o600))
	other, err := ssh.NewPublicKey(ed25519.NewKeyFromSeed(bytes.Repeat([]byte{8}, 32)).Public())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(key+"2.pub", ssh.MarshalAuthorizedKey(other), 0o600))

	plain, signed := c.bundled(), filepath.Join(dir, "signed.zip")
	code, _, errs := elsewhere(t, "countersign", plain, "--key", key, "--name", "scrutineer.example", "-o", signed)
	require.Equal(t, 0, code, errs)
	assert.Contains(t, errs, "scrutineer.example+")
	code, out, errs := elsewhere(t, "verify", signed)
	require.Equal(t, 0, code, out+errs)
	assert.Contains(t, out, "countersigned by scrutineer.example")

	code, out, _ = elsewhere(t, "log", "--json", "-C", c.dir)
	require.Equal(t, 0, code)
	var log logDocument
	require.NoError(t, json.Unmarshal([]byte(out), &log))
	head := filepath.Join(dir, "head")
	require.NoError(t, os.WriteFile(head, []byte(log.Checkpoint), 0o600))
	code, _, errs = elsewhere(t, "countersign", head, "--key", key, "--name", "scrutineer.example", "-o", head+".signed")
	require.Equal(t, 0, code, errs)

	c.write(backup)
	for _, kept := range []string{signed, head + ".signed"} {
		_, codes := verifyElsewhere(t, c.dir, "--against", kept, "--cosigner", key+".pub")
		assert.Equal(t, []string{"rolled-back"}, codes, kept)
		_, codes = verifyElsewhere(t, plain, "--against", kept, "--cosigner", key+".pub")
		assert.Empty(t, codes, kept)
		_, codes = verifyElsewhere(t, plain, "--against", kept, "--cosigner", key+"2.pub")
		assert.Equal(t, []string{"bad-checkpoint"}, codes, "by another key: "+kept)
	}
	bad, err := os.ReadFile(plain)
	require.NoError(t, err)
	bad[len(bad)/2] ^= 1
	require.NoError(t, os.WriteFile(plain+".bad", bad, 0o600))
	code, _, errs = elsewhere(t, "countersign", plain+".bad", "--key", key, "--name", "x", "-o", dir+"/never")
	assert.NotEqual(t, 0, code, errs)
	assert.NoFileExists(t, dir+"/never", "what does not verify is not signed")
}

// TestMadeBundles runs the command on every bundle of testdata/bundles.
func TestMadeBundles(t *testing.T) {
	files, err := filepath.Glob("../../testdata/bundles/*.expect")
	require.NoError(t, err)
	require.Greater(t, len(files), 40)
	for _, f := range files {
		side, err := os.ReadFile(f)
		require.NoError(t, err)
		lines := strings.Split(string(side), "\n")
		args := []string{strings.TrimSuffix(f, ".expect") + ".zip"}
		for _, l := range lines[1:] {
			if name, ok := strings.CutPrefix(l, "against: "); ok {
				args = append(args, "--against", filepath.Join(filepath.Dir(f), name))
			}
			if l == "evidence: yes" {
				args = append(args, "--evidence")
			}
		}
		want := strings.TrimPrefix(lines[0], "expect: ")
		code, codes := verifyElsewhere(t, args...)
		if want == "none" {
			assert.Equal(t, 0, code, f)
			continue
		}
		assert.Equal(t, 1, code, f)
		assert.Equal(t, strings.Split(want, ","), codes, f)
	}
}

func TestExport(t *testing.T) {
	c := newTriedCar(t)
	code, out, errs := c.hvproof("-C", c.dir, "export")
	require.Equal(t, 0, code, errs)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	unit := slices.IndexFunc(rows[0], func(h string) bool { return strings.HasPrefix(h, "value [") })
	require.Positive(t, unit, "units stand in the header")
	assert.Equal(t, "practice", rows[1][5])
	code, out, errs = c.hvproof("-C", c.dir, "export", "--json")
	require.Equal(t, 0, code, errs)
	var doc exportDocument
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	assert.Len(t, doc.Readings, len(rows)-1)
	assert.True(t, doc.OK)
	for cell, want := range map[string]string{"=1+1": "'=1+1", "@x": "'@x", "-3": "-3", "+x": "'+x", "-x": "'-x", "45 M": "45 M", "a\u202Eb": `a\u{202E}b`,
		"": "", "-3.5": "-3.5", "-Inf": "'-Inf", "+0x1p-2": "'+0x1p-2", " =1+1": "' =1+1", "\u00a0=1": "'\u00a0=1", "＝1+1": "'＝1+1", "\t=1": "' =1", "\n=1": `'\u{000A}=1`, "by = 3": "by = 3", "-2+3+cmd": "'-2+3+cmd"} {
		assert.Equal(t, want, inert(cell), cell)
	}
}

// TestBundleOfTwoDevices: the old device goes on by itself after the hand-over.
// Its work counts against the new log, in the bundle as in the folder, so that
// the report in the bundle is the one that its record gives.
func TestBundleOfTwoDevices(t *testing.T) {
	c := newTriedCar(t)
	old := *c
	c.config = t.TempDir()
	code, _, errs := c.hvproof("-C", c.dir, "person", "hand-over", "releaser", "--reason", "a new laptop")
	require.Equal(t, 0, code, errs)
	old.bench()
	work := filepath.Join(c.dir, "work.yaml")
	require.NoError(t, os.WriteFile(work, []byte("answers: {work: value_changed, text: nothing much, reason: a test, by: operator, done: today}\n"), 0o600))
	code, out, errs := old.hvproof("-C", c.dir, "rework", "--by", "operator", "--answers", "work.yaml")
	require.Equal(t, 0, code, out+errs)
	code, out, errs = elsewhere(t, "verify", c.bundled())
	assert.Equal(t, 0, code, out+errs)
	assert.Contains(t, out, "went-on")
}

// TestVerifiedBefore: what was verified once is not taken for granted.
func TestVerifiedBefore(t *testing.T) {
	c := newTriedCar(t)
	h, err := home.Open(c.config, rand.Reader)
	require.NoError(t, err)
	r := c.read()
	require.NoError(t, h.RememberVerified(r.origin, verifier(), int64(len(r.notes)), r.root(len(r.notes))))
	_, out, errs := c.hvproof("-C", c.dir, "ready")
	assert.NotContains(t, out+errs, "does not verify")
	i := r.find(entry.Reading)
	r.notes[i] = strings.Replace(r.notes[i], "0.4 V", "0.5 V", 1)
	for _, rehash := range []bool{false, true} {
		if rehash {
			r.rehash()
			r.sign(c)
		}
		c.write(r)
		code, _, errs := c.hvproof("-C", c.dir, "run", "bench", "--answers", "passes.yaml")
		assert.Equal(t, 1, code)
		assert.Contains(t, errs, "does not verify")
	}
}
