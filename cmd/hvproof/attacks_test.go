package main

import (
	"bytes"
	"encoding/json"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/ledger"
)

// TestEveryByteOfTheDatabase flips bytes all over hvproof.db, a byte at a
// time: either that is noticed, or not one entry is another (SQLite leaves
// bytes unused, and of some numbers it does not need all).
func TestEveryByteOfTheDatabase(t *testing.T) {
	c := newTriedCar(t)
	entries := func() (int, string) {
		code, out, _ := c.hvproof("-C", c.dir, "log", "--json")
		return code, out
	}
	_, want := entries()
	file := filepath.Join(c.dir, "hvproof.db")
	whole := bytesOf(t, file)
	require.NoFileExists(t, file+"-wal", "all is in one file")
	random := rand.New(rand.NewPCG(6, 1))
	noticed := 0
	for range 300 {
		b := bytes.Clone(whole)
		at := random.IntN(len(b))
		b[at] ^= byte(1 + random.IntN(255))
		require.NoError(t, os.WriteFile(file, b, 0o600))
		code, _, errs := c.hvproof("verify", "--json", c.dir)
		require.NotContains(t, errs, "goroutine ")
		if code == 0 {
			code, got := entries()
			require.Equal(t, 0, code)
			require.Equal(t, want, got, "byte %d", at)
			continue
		}
		require.Contains(t, []int{1, 2, 4}, code, "byte %d: %s", at, errs)
		noticed++
	}
	assert.Greater(t, noticed, 100, "too little damage to say anything")
}

// TestEveryByteOfTheSheet flips bytes all over a PDF: it does not verify, or,
// where the byte is of the program's version, it was not compared and is said
// not to have been.
func TestEveryByteOfTheSheet(t *testing.T) {
	c := newTriedCar(t)
	file := filepath.Join(t.TempDir(), "car.pdf")
	code, _, errs := c.hvproof("-C", c.dir, "report", "--car", "--pdf", file, "--issued", "2027-03-20T09:00:00Z")
	require.Equal(t, 0, code, errs)
	whole, packed := bytesOf(t, file), c.bundled()
	stamp := bytes.Index(whole, []byte("hvproof-report|"))
	require.Positive(t, stamp)
	random := rand.New(rand.NewPCG(6, 2))
	for i := range 80 {
		b := bytes.Clone(whole)
		at := random.IntN(len(b))
		if i < 40 { // where it says what it is made of
			at = stamp + i
		}
		b[at] ^= 1
		require.NoError(t, os.WriteFile(file, b, 0o600))
		code, out, errs := elsewhere(t, "verify", "--json", file, "--against", packed)
		var doc verifyDocument
		require.NoError(t, json.Unmarshal([]byte(out), &doc), out+errs)
		if code != 0 {
			require.Equal(t, 1, code, "byte %d: %s", at, out)
			require.NotEmpty(t, doc.Faults)
			continue
		}
		require.Equal(t, "not comparable", doc.Page, "byte %d", at)
		require.Less(t, at, stamp+len("hvproof-report|")+len(version), "byte %d", at)
	}
}

// TestHostileWords gives a car, a file and a note names that are markup, script
// and characters that turn the direction of reading: on every way out they
// are shown as what they are.
func TestHostileWords(t *testing.T) {
	c := newTriedCar(t)
	const markup = "<script>alert(1)</script>"
	vehicle := filepath.Join(c.dir, "vehicle.yaml")
	require.NoError(t, os.WriteFile(vehicle, bytes.Replace(bytesOf(t, vehicle), []byte("name: Mule"), []byte("name: "+markup), 1), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(c.dir, "people.yaml"), []byte("format: 1\npeople:\n  operator: {name: "+markup+"}\n"), 0o600))
	turned := filepath.Join(c.dir, "procedures", "a\u202Eb\x1b[2J.yaml")
	procedure := bytesOf(t, filepath.Join(c.dir, "procedures", "bench.yaml"))
	procedure = bytes.Replace(procedure, []byte("procedure: bench\n"), []byte("procedure: other\n"), 1)
	require.NoError(t, os.WriteFile(turned, bytes.Replace(procedure, []byte("proves: {bench:"), []byte("proves: {other:"), 1), 0o600))
	answers := filepath.Join(c.dir, "hostile.yaml")
	require.NoError(t, os.WriteFile(answers, []byte("answers:\n  leads: sound\n  dead: 0.4 V\n  bond: [0.15 Ω, {read: 18.2 mΩ, reason: '=cmd()"+markup+"'}]\n  covers: fitted\n"), 0o600))

	said := func(args ...string) string {
		t.Helper()
		_, out, errs := c.hvproof(append([]string{"-C", c.dir}, args...)...)
		assert.NotRegexp(t, hostile, strings.ReplaceAll(out, "\f", "")+errs, args) // a report has form feeds
		assert.NotRegexp(t, trace, out+errs, args)
		return out + errs
	}
	said("check")
	said("limits")
	finished := func(args ...string) {
		t.Helper()
		assert.Contains(t, said(args...), "recorded run-end")
	}
	finished("run", "bench", "--answers", "hostile.yaml")
	c.stdin = "sound\n0.4 V\n"
	said("run", "bench")
	c.stdin = "\x1b[2J\u202e" + markup + "\n18 mΩ\nfitted\n"
	finished("resume")
	c.stdin = ""
	finished("run", "other", "--answers", "passes.yaml")
	for _, args := range [][]string{{"ready"}, {"log"}, {"log", "--json"}, {"verify"}, {"verify", "--json"}, {"report", "--car"}, {"report", "--short"}, {"export"}, {"export", "--json"}, {"permit", "show"}} {
		said(args...)
	}
	assert.Contains(t, said("report"), `\u{202E}`)
	assert.NotRegexp(t, `(?m)(^|,)"?=cmd`, said("export"), "no cell begins like a formula")

	packed := filepath.Join(t.TempDir(), "evidence.zip")
	assert.Contains(t, said("bundle", "-o", packed), "is left out", "a file whose name is not plain")
	code, out, errs := elsewhere(t, "verify", packed)
	assert.Equal(t, 0, code, out+errs)
	assert.Contains(t, errs, "there is no report in the bundle")
	assert.NotRegexp(t, hostile, out+errs)
	page := filepath.Join(t.TempDir(), "r.html")
	said("report", "--html", page)
	assert.Equal(t, 2, strings.Count(string(bytesOf(t, page)), "<script"), "nothing of the record stands in the page as markup")
}

// TestInertJSON: another spelling, the same document.
func TestInertJSON(t *testing.T) {
	for _, text := range []string{"plain \u202E turned \u2066\u200B", "\x00\x1b[2J", "\U000E0041 tag", "45.4 MΩ", "</script>"} {
		raw, err := json.Marshal(text)
		require.NoError(t, err)
		out := inertJSON(append(raw, '\n'))
		assert.NotRegexp(t, hostile, string(out))
		var back string
		require.NoError(t, json.Unmarshal(out, &back))
		assert.Equal(t, text, back)
	}
}

// TestAttacks holds testdata/attacks.txt against the codes there are and the
// tests that it names: each test exists, each case stands in it or is a bundle
// made to fail with that code, and every fault code is some attack's.
func TestAttacks(t *testing.T) {
	known := map[string]bool{"shown": true, "refused": true}
	for _, c := range ledger.Codes() {
		known[string(c)] = true
	}
	for _, m := range regexp.MustCompile(`(?m)^//\t([a-z]+(?:-[a-z]+)*)`).FindAllStringSubmatch(string(bytesOf(t, "../../internal/audit/doc.go")), -1) {
		known[m[1]] = true
	}
	require.Greater(t, len(known), 60)
	tried, seen := map[string]int{}, map[string]bool{}
	for line := range strings.Lines(string(bytesOf(t, "../../testdata/attacks.txt"))) {
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		columns := strings.Split(line, "|")
		require.Len(t, columns, 3, line)
		attack, code := strings.TrimSpace(columns[0]), strings.TrimSpace(columns[1])
		folder, test, _ := strings.Cut(strings.TrimSpace(columns[2]), " ")
		test, sub, inside := strings.Cut(test, "/")
		assert.True(t, known[code], "%s: %s is no code", attack, code)
		assert.False(t, seen[attack], "%s: twice", attack)
		seen[attack], tried[code] = true, tried[code]+1
		source := ""
		files, err := filepath.Glob(filepath.Join("../..", folder, "*_test.go"))
		require.NoError(t, err)
		for _, f := range files {
			if text := string(bytesOf(t, f)); strings.Contains(text, "\nfunc "+test+"(") {
				source = text
			}
		}
		require.NotEmpty(t, source, "%s: there is no %s in %s", attack, test, folder)
		switch {
		case test == "TestMade":
			expect, _, _ := strings.Cut(string(bytesOf(t, "../../testdata/bundles/"+sub+".expect")), "\n")
			assert.Contains(t, strings.Split(strings.TrimPrefix(expect, "expect: "), ","), code, attack)
		case test == "TestScript":
			assert.Contains(t, string(bytesOf(t, "testdata/script/"+sub+".txt")), code, attack)
		case inside:
			assert.Contains(t, source, `"`+sub+`"`, attack)
		}
	}
	for _, c := range ledger.Codes() {
		assert.Positive(t, tried[string(c)], "%s is tried", c)
	}
	assert.Greater(t, len(seen), 70)
}
