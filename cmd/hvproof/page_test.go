package main

import (
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// paged writes a car's page and gives the file and its bytes.
func (c *triedCar) paged() (string, []byte) { return c.pagedAs(0) }

// pagedAs is paged where the command exits with that code, of a run if one is named.
func (c *triedCar) pagedAs(want int, run ...string) (string, []byte) {
	c.t.Helper()
	file := filepath.Join(c.t.TempDir(), "r.html")
	code, _, errs := c.hvproof(append([]string{"-C", c.dir, "report", "--html", file, "--issued", "2027-03-20T09:00:00Z"}, run...)...)
	require.Equal(c.t, want, code, errs)
	b, err := os.ReadFile(file)
	require.NoError(c.t, err)
	return file, b
}

// TestPage: a page verifies elsewhere; what is edited by hand does not, neither
// in its record nor beside it.
func TestPage(t *testing.T) {
	c := newTriedCar(t)
	file, raw := c.paged()
	_, again := c.paged()
	require.Equal(t, raw, again, "the same log and time give the same bytes")
	code, out, errs := elsewhere(t, "verify", file)
	require.Equal(t, 0, code, out+errs)
	assert.Contains(t, errs, "byte for byte")
	change := func(old, with string) (int, []string) {
		t.Helper()
		forged := bytes.Replace(raw, []byte(old), []byte(with), 1)
		require.NotEqual(t, string(raw), string(forged))
		require.NoError(t, os.WriteFile(file, forged, 0o600))
		return verifyElsewhere(t, file)
	}
	for old, with := range map[string]string{
		"<title>":                                "<title>Evidence: ",
		"if (!v.ok)":                             "if (false)",
		"default-src 'none'":                     "default-src *  ",
		"</main>":                                "<p>PASSED</p></main>",
		"</html>\n":                              "</html>\n<!-- -->",
		"content=\"hvproof " + version + "\">\n": "content=\"hvproof " + version + "\">\n\n",
	} {
		code, codes := change(old, with)
		assert.Equal(t, 1, code, old)
		assert.Subset(t, []string{"altered-blob", "malformed-entry"}, codes, old)
		assert.NotEmpty(t, codes, old)
	}
	at := bytes.Index(raw, []byte(`id="bundle">`)) + 3000
	flipped := bytes.Clone(raw)
	flipped[at] = map[bool]byte{true: 'B', false: 'A'}[flipped[at] == 'A']
	require.NoError(t, os.WriteFile(file, flipped, 0o600))
	_, codes := verifyElsewhere(t, file)
	assert.Equal(t, []string{"malformed-entry"}, codes, "a byte of the record")
	older := bytes.Replace(raw, []byte(`content="hvproof `+version), []byte(`content="hvproof 0.0.9`), 1)
	require.NoError(t, os.WriteFile(file, older, 0o600))
	code, out, errs = elsewhere(t, "verify", file)
	assert.Equal(t, 0, code)
	assert.Contains(t, errs, "not comparable")
	assert.Contains(t, out, "r.html SAYS WAS NOT CHECKED, only the record that it is made of")
	assert.Contains(t, out, "the record of "+file+" verifies")
	_, codes = verifyElsewhere(t, file, "--evidence")
	assert.Equal(t, []string{"not-evidence"}, codes)
}

// TestRefutedPage: a page of a record in which a waveform refutes its decision
// says so in words that need no script, and does not verify elsewhere; nor does
// it with those words taken out.
func TestRefutedPage(t *testing.T) {
	fine := newChargedCar(t)
	require.NoError(t, fine.forge(charging(0.0709), nil))
	file, raw := fine.paged()
	assert.Contains(t, string(raw), `<section id="found" data-waveforms="1" data-faults="0" hidden>`)
	assert.Contains(t, string(raw), "found no fault of integrity in the record. It read the waveforms of the record (1) again")
	code, codes := verifyElsewhere(t, file)
	assert.Equal(t, 0, code, "%v", codes)

	c := newChargedCar(t)
	c.forgePass()
	file, raw = c.pagedAs(1)
	text := string(raw)
	answer := between(text, `<p id="answer" class="answer no">`, "</p>")
	assert.Regexp(t, "^DOES NOT VERIFY: run .*: pass is recorded, and the waveform itself gives fail", answer)
	assert.NotContains(t, answer, " VERIFIED")
	found := between(text, `<section id="found" `, "</section>")
	assert.True(t, strings.HasPrefix(found, `data-waveforms="1" data-faults="1">`), "it is seen without script: %s", found)
	assert.Contains(t, found, "refuted-decision:</b> run ")
	assert.NotContains(t, between(text, `<div id="made" hidden>`, `<script`), "refuted-decision", "it is a fault, and no remark")
	code, out, errs := elsewhere(t, "verify", file)
	assert.Equal(t, 1, code)
	assert.Contains(t, out, "DOES NOT VERIFY: 1 fault in")
	assert.Contains(t, errs, "byte for byte")
	code, codes = verifyElsewhere(t, file)
	assert.Equal(t, 1, code)
	assert.Equal(t, []string{"refuted-decision"}, codes)

	require.NoError(t, os.WriteFile(file, acquitted(t, raw), 0o600))
	code, codes = verifyElsewhere(t, file)
	assert.Equal(t, 1, code)
	assert.ElementsMatch(t, []string{"refuted-decision", "altered-blob"}, codes)
}

// acquitted is a page with its fault taken out, and with what the program says of
// a record without fault in its place.
func acquitted(t *testing.T, raw []byte) []byte {
	t.Helper()
	const begin, end = `<p id="answer"`, "</section>\n"
	at, to := bytes.Index(raw, []byte(begin)), bytes.Index(raw, []byte(end))
	require.True(t, 0 < at && at < to)
	clean := begin + " class=\"answer\">NOT VERIFIED</p>\n<section id=\"found\" data-waveforms=\"1\" data-faults=\"0\" hidden>\n<p>hvproof found no fault.</p>\n" + end
	return slices.Concat(raw[:at], []byte(clean), raw[to+len(end):])
}

// TestPageOfWhatTheDeviceKnows: a log that is shorter than this device remembers
// is whole in itself. The page says what the device knew, and verify repeats it.
func TestPageOfWhatTheDeviceKnows(t *testing.T) {
	c := newTriedCar(t)
	r := c.read()
	c.bench()
	c.write(r)
	file, raw := c.pagedAs(1)
	assert.Regexp(t, `class="answer no">DOES NOT VERIFY: .*remembered`, string(raw))
	code, out, errs := elsewhere(t, "verify", file)
	assert.Equal(t, 1, code, out+errs)
	assert.Contains(t, out, "rolled-back")
	assert.Contains(t, out, "the page says that it was known where it was written: ")
	assert.Contains(t, errs, "byte for byte", "what the record does not tell is read from the page")
}

// TestPageOfALostFile: what is missing in the car folder is missing in the page.
func TestPageOfALostFile(t *testing.T) {
	c := newTriedCar(t)
	blobs, err := filepath.Glob(filepath.Join(c.dir, "blobs", "*", "*"))
	require.NoError(t, err)
	require.NotEmpty(t, blobs)
	require.NoError(t, os.Remove(blobs[0]))
	file, raw := c.pagedAs(1)
	assert.Contains(t, string(raw), `class="answer no">DOES NOT VERIFY: `)
	assert.Contains(t, between(string(raw), `<section id="found" `, "</section>"), "missing-blob:</b> ")
	code, codes := verifyElsewhere(t, file)
	assert.Equal(t, 1, code)
	assert.Equal(t, []string{"missing-blob"}, codes)
}

// faultyPage reports whether a page can be made of a car with faults. The page
// says that it does not verify, and it does not.
func (c *triedCar) faultyPage() bool {
	c.t.Helper()
	file := filepath.Join(c.t.TempDir(), "r.html")
	code, out, errs := c.hvproof("-C", c.dir, "report", "--html", file)
	require.NotEqual(c.t, 0, code, out+errs)
	if code != 1 {
		require.NoFileExists(c.t, file)
		return false
	}
	require.FileExists(c.t, file, errs)
	assert.Contains(c.t, string(bytesOf(c.t, file)), `<p id="answer" class="answer no">DOES NOT VERIFY: `)
	code, out, errs = elsewhere(c.t, "verify", file)
	assert.Equal(c.t, 1, code, out+errs)
	assert.Contains(c.t, errs, "byte for byte", "the same record gives the same page")
	return true
}

func between(s, a, b string) string {
	_, s, _ = strings.Cut(s, a)
	s, _, _ = strings.Cut(s, b)
	return s
}
