package main

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// paged writes a car's page and gives the file and its bytes.
func (c *triedCar) paged() (string, []byte) {
	c.t.Helper()
	file := filepath.Join(c.t.TempDir(), "r.html")
	code, _, errs := c.hvproof("-C", c.dir, "report", "--html", file, "--issued", "2027-03-20T09:00:00Z")
	require.Equal(c.t, 0, code, errs)
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
