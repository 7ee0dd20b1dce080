//go:build outside

package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func tool(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).Output()
	require.NoError(t, err, "%s %v", name, args)
	return string(out)
}

// TestPDFOutside looks at a report with poppler's tools and zbar.
func TestPDFOutside(t *testing.T) {
	c := newTriedCar(t)
	code, out, errs := c.hvproof("-C", c.dir, "export", "--json")
	require.Equal(t, 0, code, errs)
	var doc exportDocument
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	require.NotEmpty(t, doc.Readings)
	file := filepath.Join(t.TempDir(), "r.pdf")
	code, _, errs = c.hvproof("-C", c.dir, "report", doc.Readings[0].Run, "--pdf", file)
	require.Equal(t, 0, code, errs)

	words := strings.Join(strings.Fields(tool(t, "pdftotext", "-layout", file, "-")), " ")
	limits := 0
	for _, r := range doc.Readings {
		assert.Contains(t, words, r.Step)
		if r.Typed != "" {
			assert.Contains(t, words, `typed "`+r.Typed+`"`, r.Step)
		}
		for _, l := range r.Limit {
			limits++
			assert.Contains(t, words, l, r.Step)
		}
	}
	require.Positive(t, limits)
	assert.Contains(t, words, "PRACTICE - never evidence")

	fonts := strings.Split(strings.TrimSpace(tool(t, "pdffonts", file)), "\n")[2:]
	require.NotEmpty(t, fonts)
	for _, f := range fonts {
		columns := strings.Fields(f)
		assert.Equal(t, "yes", columns[len(columns)-5], "embedded: %s", f)
	}

	code, out, errs = c.hvproof("-C", c.dir, "log", "--json")
	require.Equal(t, 0, code, errs)
	var log logDocument
	require.NoError(t, json.Unmarshal([]byte(out), &log))
	pages := filepath.Join(t.TempDir(), "page")
	tool(t, "pdftoppm", "-r", "150", "-png", file, pages)
	images, err := filepath.Glob(pages + "*.png")
	require.NoError(t, err)
	require.NotEmpty(t, images)
	// It exits with 4 where a page has no code (zbarimg(1)).
	read, _ := exec.Command("zbarimg", append([]string{"-q", "--raw", "-Sdisable", "-Sqrcode.enable"}, images...)...).Output()
	assert.Equal(t, strings.TrimSpace(log.Checkpoint), strings.TrimSpace(string(read)), "the QR code holds the checkpoint")
}

// TestUnzipOutside unpacks a bundle with Info-ZIP and goes the way of a person
// who has nothing but OpenSSL, as help bundle tells it.
func TestUnzipOutside(t *testing.T) {
	c := newTriedCar(t)
	dir := t.TempDir()
	tool(t, "unzip", "-q", c.bundled(), "-d", dir)
	note := filepath.Join(dir, "log-1", "entries", "000006.note")
	raw, err := os.ReadFile(note)
	require.NoError(t, err)
	lines := strings.Split(strings.TrimSpace(string(raw)), "\n")
	signer := strings.Fields(lines[len(lines)-1])[1]
	script := `set -e
cd "$1/log-1"
sed '/^$/,$d' entries/000006.note > text.bin
sed -n 's/^— [^ ]* //p' entries/000006.note | openssl base64 -d -A | tail -c +5 > sig.bin
openssl pkeyutl -verify -pubin -inkey keys/` + signer + `-*.pem -rawin -in text.bin -sigfile sig.bin
ssh-keygen -l -f keys/` + signer + `-*.pub
(printf '\000'; cat entries/000006.note) | openssl dgst -sha256 -binary | openssl base64`
	out, err := exec.Command("sh", "-c", script, "sh", dir).CombinedOutput()
	require.NoError(t, err, string(out))
	assert.Contains(t, string(out), "Signature Verified Successfully")
	assert.Contains(t, string(out), "SHA256:")
	code, answer, errs := c.hvproof("-C", c.dir, "log", "--json")
	require.Equal(t, 0, code, errs)
	var log logDocument
	require.NoError(t, json.Unmarshal([]byte(answer), &log))
	assert.Contains(t, string(out), log.Entries[6].Leaf)
}
