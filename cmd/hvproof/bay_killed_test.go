//go:build outside

package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
)

// back takes the page through a restart of its server: it says that it is not
// connected, comes back where the log says, and goes to the step that waits.
func (h *hands) back() (waits string) {
	h.t.Helper()
	h.wait(`document.body.classList.contains("lost")`)
	require.Contains(h.t, h.text(), "Not connected. Nothing can be recorded")
	require.Contains(h.t, h.text(), "NOT CONNECTED")
	h.c.serve()
	h.wait(`!document.body.classList.contains("lost") && !!document.querySelector("#main form[action='/run/unlock']")`)
	h.choose("person", "operator")
	h.press(`#main form[action="/run/unlock"] button`)
	return h.toStep()
}

// toStep answers what is asked around a step, and gives what the step asks.
func (h *hands) toStep() (waits string) {
	h.t.Helper()
	for range 6 {
		a := h.look()
		require.Empty(h.t, a.Fault)
		waits = strings.Fields(a.Mark)[2]
		if waits != "resume" && waits != "caution" && waits != "state" {
			return waits
		}
		h.around(waits, a)
	}
	require.Fail(h.t, "the car's state does not end", waits)
	return ""
}

// TestBayKilledInAnswer: the server's plug is pulled at some moment after
// "correct" was touched. Whether the reading is on record only the log can tell;
// the page says what the log says, and the reading is there once or not at all.
func TestBayKilledInAnswer(t *testing.T) {
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(800, 1280), c: c}
	h.toReading()
	record := `#main form[action="/run/answer"] button.strong`
	lost, kept, tries := 0, 0, 0
	for _, delay := range []time.Duration{0, time.Millisecond, 2 * time.Millisecond, 4 * time.Millisecond, 8 * time.Millisecond, 16 * time.Millisecond, time.Second} {
		tries++
		h.touch(`[data-key="-"]`)
		h.digits("70.4")
		h.choose("unit", "V")
		require.True(t, h.press(record).Back)
		h.eval(`document.querySelector(`+quoted(record)+`).click()`, nil)
		time.Sleep(delay)
		c.kill()
		switch waits := h.back(); waits {
		case "reading": // not on record: it is typed still, and never sent by itself
			lost++
			require.Equal(t, tries-1, readingsOf(t, c, "dead"), "killed after %s", delay)
			require.Equal(t, "-70.4", h.value("#digits"), "killed after %s", delay)
			require.True(t, h.press(record).Back)
			h.press(record)
		case "again":
			kept++
		default:
			require.Fail(t, "the run went on to "+waits, "killed after %s", delay)
		}
		require.Equal(t, tries, readingsOf(t, c, "dead"), "once, killed after %s", delay)
		require.Contains(t, h.text(), "-70.4 V")
		h.touch("textarea[name=reason]")
		h.insert("capacitors not yet empty")
		if h.look().Cause {
			h.touch("textarea[name=cause]")
			h.insert("not known")
		}
		require.Empty(t, h.press(`#main button[name=then][value=again]`).Fault)
		require.Equal(t, "reading", h.toStep(), "killed after %s", delay)
	}
	t.Logf("killed %d times: %d readings were on record, %d were not", tries, kept, lost)
	assert.NotZero(t, kept, "one was killed after it was on record")
	c.verified()
}

// TestBayKilledInPhoto: the plug is pulled while a photograph is on its way.
// Nothing of it is recorded; it is still chosen, and is recorded once.
func TestBayKilledInPhoto(t *testing.T) {
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(800, 1280), c: c}
	h.toReading()
	photo := filepath.Join(t.TempDir(), "lug.png")
	require.NoError(t, os.WriteFile(photo, append([]byte("\x89PNG\r\n\x1a\n"), bytes.Repeat([]byte("lug"), 4<<20)...), 0o644))
	n, err := logSize(c.dir)
	require.NoError(t, err)
	blobs := blobsOf(t, c.dir)
	open := func() {
		h.wait(`document.querySelector("#main form[action='/run/note']")`)
		h.eval(`document.querySelector("#main form[action='/run/note']").closest("details").open = true`, nil)
	}
	open()
	h.attach(`#main form[action='/run/note'] input[name=file]`, photo)
	h.do("Network.enable", map[string]any{})
	h.do("Network.emulateNetworkConditions", map[string]any{"offline": false, "latency": 0, "downloadThroughput": -1, "uploadThroughput": 2 << 20})
	h.touch(`#main form[action='/run/note'] button`)
	h.wait(`document.querySelector("[data-sending] progress")?.value > 0.1`)
	c.kill()
	h.do("Network.emulateNetworkConditions", map[string]any{"offline": false, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1})
	require.Equal(t, "reading", h.back())
	assert.Equal(t, blobs, blobsOf(t, c.dir), "nothing half is left")
	assert.Empty(t, notesOf(t, c))
	open()
	require.Contains(t, h.text(), "Still chosen: lug.png")
	h.turned(`#main form[action='/run/note'] button`)
	assert.Equal(t, []string{"lug.png"}, notesOf(t, c))
	size, err := logSize(c.dir)
	require.NoError(t, err)
	assert.Greater(t, size, n)
	c.verified()
}

// bodies gives what the log of a served car says, read while it is served.
func (c *counter) bodies() (out []entry.Body) {
	c.t.Helper()
	s, err := c.app().read(c.t.Context())
	require.NoError(c.t, err)
	defer s.close()
	require.NoError(c.t, ledger.Read(c.t.Context(), s.store, s.origin, 0, s.entries, func(_ int64, e entry.Entry, _ string, _ []byte) error {
		out = append(out, e.Body)
		return nil
	}))
	return out
}

// readingsOf counts the readings of a step on record.
func readingsOf(t *testing.T, c *counter, path string) (n int) {
	t.Helper()
	for _, b := range c.bodies() {
		if b.Kind == entry.Reading && b.Path == path {
			n++
		}
	}
	return n
}

// notesOf names the files that notes have.
func notesOf(t *testing.T, c *counter) (names []string) {
	t.Helper()
	for _, b := range c.bodies() {
		if b.Kind == entry.Note && b.Text("file") != "" {
			names = append(names, b.Text("name"))
		}
	}
	return names
}

// verified ends the server, and wants the log to verify from its first entry.
func (c *counter) verified() {
	c.t.Helper()
	c.kill()
	var out strings.Builder
	a := c.app()
	a.out = &out
	require.NoError(c.t, a.verify(c.t.Context(), "", verifyFlags{}), out.String())
}
