//go:build outside

package main

import (
	"bytes"
	"context"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browse opens a file in headless Chromium.
func browse(t *testing.T, args ...string) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	args = append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--user-data-dir=" + t.TempDir(), "--virtual-time-budget=60000"}, args...)
	out, err := exec.CommandContext(ctx, "chromium", args...).Output()
	require.NoError(t, err)
	return string(out)
}

// TestPageInBrowser opens, verifies, tampers, verifies again, prints.
func TestPageInBrowser(t *testing.T) {
	c := newTriedCar(t)
	file, raw := c.paged()
	dom := browse(t, "--dump-dom", "file://"+file)
	assert.Contains(t, dom, `data-answer="verified"`)
	assert.Contains(t, dom, "VERIFIED BY THIS BROWSER")
	assert.Contains(t, dom, "PRACTICE - never evidence")
	assert.Equal(t, 2, strings.Count(dom, "<script"), "the log brought no script of its own")
	t.Logf("verified in the browser in %s ms", between(dom, `data-took="`, `"`))

	printed := filepath.Join(t.TempDir(), "printed.pdf")
	browse(t, "--print-to-pdf="+printed, "file://"+file)
	words := tool(t, "pdftotext", printed, "-")
	assert.Contains(t, words, "VERIFIED BY THIS BROWSER")
	assert.Contains(t, words, "Remarks of the audit")
	assert.Contains(t, words, "entry 5, file-not-shipped")

	other := filepath.Join(t.TempDir(), "other.html")
	at := bytes.Index(raw, []byte(`id="bundle">`)) + 3000
	flipped := bytes.Clone(raw)
	flipped[at] = map[bool]byte{true: 'B', false: 'A'}[flipped[at] == 'A']
	require.NoError(t, os.WriteFile(other, flipped, 0o600))
	dom = browse(t, "--dump-dom", "file://"+other)
	assert.Contains(t, dom, `data-answer="not"`)
	assert.Contains(t, dom, "malformed-entry")
	assert.NotContains(t, dom, "VERIFIED BY THIS BROWSER:</p>")

	script := bytes.Replace(raw, []byte("if (!v.ok)"), []byte("if (!!v.x)"), 1)
	require.NoError(t, os.WriteFile(other, script, 0o600))
	dom = browse(t, "--dump-dom", "file://"+other)
	assert.Contains(t, dom, "NOT VERIFIED", "the policy does not let another script run")
	assert.NotContains(t, dom, "data-answer")

	// Without a secure context there is no WebCrypto at all: a browser that
	// cannot check says so.
	server := httptest.NewServer(http.FileServer(http.Dir(filepath.Dir(file))))
	defer server.Close()
	_, port, err := net.SplitHostPort(server.Listener.Addr().String())
	require.NoError(t, err)
	dom = browse(t, "--host-resolver-rules=MAP insecure.test 127.0.0.1", "--dump-dom", "http://insecure.test:"+port+"/"+filepath.Base(file))
	assert.Contains(t, dom, "this browser cannot check Ed25519 signatures")
	assert.Contains(t, dom, `data-answer="not"`)
}

func between(s, a, b string) string {
	_, s, _ = strings.Cut(s, a)
	s, _, _ = strings.Cut(s, b)
	return s
}
