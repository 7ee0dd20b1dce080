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
	"regexp"
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

// browseInsecurely opens a file as a page of the network, without WebCrypto.
func browseInsecurely(t *testing.T, file string) string {
	t.Helper()
	server := httptest.NewServer(http.FileServer(http.Dir(filepath.Dir(file))))
	defer server.Close()
	_, port, err := net.SplitHostPort(server.Listener.Addr().String())
	require.NoError(t, err)
	return browse(t, "--host-resolver-rules=MAP insecure.test 127.0.0.1", "--dump-dom", "http://insecure.test:"+port+"/"+filepath.Base(file))
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
	assert.NotContains(t, answerOf(dom), "VERIFIED BY")

	script := bytes.Replace(raw, []byte("if (!v.ok)"), []byte("if (!!v.x)"), 1)
	require.NoError(t, os.WriteFile(other, script, 0o600))
	dom = browse(t, "--dump-dom", "file://"+other)
	assert.Contains(t, dom, "NOT VERIFIED", "the policy does not let another script run")
	assert.NotContains(t, dom, "data-answer")

	// Without a secure context there is no WebCrypto at all: a browser that
	// cannot check says so.
	dom = browseInsecurely(t, file)
	assert.Contains(t, dom, "this browser cannot check Ed25519 signatures")
	assert.Contains(t, dom, `data-answer="not"`)
}

func answerOf(dom string) string { return between(dom, `<p id="answer"`, "</p>") }

// TestRefutedPageInBrowser: every signature is good, and the answer is that it
// does not verify. Who takes the program's words out of the page is told so, and
// who puts those of another page in their place has gained no more than a page
// that nobody looked at: no waveform was analysed.
func TestRefutedPageInBrowser(t *testing.T) {
	const says = "pass is recorded, and the waveform itself gives fail"
	c := newChargedCar(t)
	c.forgePass()
	_, raw := c.pagedAs(1)
	id := regexp.MustCompile(`refuted-decision:</b> run ([a-z0-9-]+),`).FindSubmatch(raw)
	require.NotNil(t, id)
	file, raw := c.pagedAs(1, string(id[1])) // its steps are shown
	seen := func(page []byte) (dom, answer string) {
		t.Helper()
		require.NoError(t, os.WriteFile(file, page, 0o600))
		dom = browse(t, "--dump-dom", "file://"+file)
		return dom, answerOf(dom)
	}
	dom, answer := seen(raw)
	assert.Contains(t, dom, `data-answer="not"`)
	assert.Regexp(t, `class="answer no">DOES NOT VERIFY: entry [0-9]+, refuted-decision: run .*`+says, answer)
	assert.NotContains(t, answer, "VERIFIED")
	assert.Contains(t, answer, "By this browser no fault was found")
	assert.Contains(t, answer, "NOT ANALYSED BY IT: 1 waveform;")
	page := between(dom, "<main", "</main>")
	assert.Contains(t, page, ">PASSED, DOES NOT VERIFY<")
	assert.Contains(t, page, ">PASS, DOES NOT VERIFY<")
	assert.Regexp(t, "<dt>Fault</dt><dd>entry [0-9]+, refuted-decision: run .*"+says, page)
	assert.Contains(t, page, "A browser does not analyse them")
	assert.NotRegexp(t, `>(PASS|PASSED)<`, page, "no word of it is good news")

	for what, page := range map[string][]byte{
		"the line":   regexp.MustCompile(`<li data-of="[^"]*"><b>entry [0-9]+, refuted-decision.*</li>`).ReplaceAll(raw, nil),
		"all of it":  regexp.MustCompile(`(?s)<section id="found".*?</section>`).ReplaceAll(raw, nil),
		"a waveform": bytes.Replace(acquitted(t, raw), []byte(`data-waveforms="1"`), []byte(`data-waveforms="0"`), 1),
	} {
		require.NotEqual(t, raw, page, what)
		dom, answer := seen(page)
		assert.Contains(t, dom, `data-answer="not"`, what)
		assert.Contains(t, answer, "NOT VERIFIED: what hvproof "+version+" found", what)
		assert.NotContains(t, between(dom, "<main", "</main>"), "PASS", "nothing of the record is shown: "+what)
	}
	dom, answer = seen(acquitted(t, raw))
	assert.Contains(t, answer, "VERIFIED BY THIS BROWSER: ")
	assert.Contains(t, answer, `NOT ANALYSED BY IT: 1 waveform; "hvproof verify" on this file does that.`)
	assert.Contains(t, dom, "no more is known of the waveforms than if nobody had looked")

	// Without a secure context nothing can be checked, and the fault stays.
	require.NoError(t, os.WriteFile(file, raw, 0o600))
	dom = browseInsecurely(t, file)
	assert.Contains(t, answerOf(dom), says)
	assert.Contains(t, answerOf(dom), "DOES NOT VERIFY")
	assert.Contains(t, answerOf(dom), "this browser cannot check Ed25519 signatures")
}
