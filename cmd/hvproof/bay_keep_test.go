//go:build outside

package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// reload loads the page anew, as a finger on the browser's own key does.
func (h *hands) reload() {
	h.t.Helper()
	h.eval(`document.getElementById("main").dataset.old = "1"`, nil)
	h.do("Page.reload", map[string]any{})
	h.wait(`document.readyState === "complete" && document.getElementById("main") && !document.getElementById("main").dataset.old`)
}

// held gives what the page keeps on the device.
func (h *hands) held() (text string) {
	h.t.Helper()
	h.eval(`sessionStorage.getItem("typed") || ""`, &text)
	return text
}

func (h *hands) value(selector string) (text string) {
	h.t.Helper()
	h.eval(`document.querySelector(`+quoted(selector)+`)?.value || ""`, &text)
	return text
}

// TestBayKeepsTyped: what was typed and not recorded is there again after the
// page was loaded anew and after the key was locked; once it is on record, or
// the person has signed out on this device, nothing of it is kept.
func TestBayKeepsTyped(t *testing.T) {
	c := newWalkCounter(t)
	b := newBrowser(t)
	h := &hands{tab: b.newTab(1280, 800), c: c}
	h.toReading()
	record := `#main form[action="/run/answer"] button.strong`
	there := func(why string) {
		t.Helper()
		require.Equal(t, "-70.4", h.value("#digits"), why)
		require.Equal(t, "V", h.value("input[name=unit]:checked"), why)
		require.Contains(t, h.text(), "Brought back as it was typed here, and not recorded", why)
	}
	n, err := logSize(c.dir)
	require.NoError(t, err)
	h.touch(`[data-key="-"]`)
	h.digits("70.4")
	h.choose("unit", "V")
	h.reload()
	there("after the page was loaded anew")
	h.press(record)
	require.Contains(t, h.text(), "minus seventy point four volt")
	h.reload()
	there("read back, and loaded anew before it was recorded")

	// The key is locked, as it is when nobody answers for ten minutes.
	other := &hands{tab: b.newTab(1280, 800), c: c}
	other.open(c.address() + "/run")
	other.press(`#main form[action="/run/lock"] button`)
	h.wait(`document.querySelector("#main form[action='/run/unlock']")`)
	size, err := logSize(c.dir)
	require.NoError(t, err)
	require.Equal(t, n, size, "nothing of it is on record")
	h.choose("person", "operator")
	h.press(`#main form[action="/run/unlock"] button`)
	require.Equal(t, "reading", h.toStep())
	there("after the key was locked and the car was looked at")
	h.press(record)
	h.press(record)
	require.Contains(t, h.text(), "Once more with the reason")
	assert.NotContains(t, h.held(), "70.4", "it is on record")
	h.touch("textarea[name=reason]")
	h.insert("capacitors not yet empty")
	h.reload()
	require.Equal(t, "capacitors not yet empty", h.value("textarea[name=reason]"))
	h.press(`#main button[name=then][value=again]`)
	require.Empty(t, h.value("#digits"), "another attempt begins with nothing")
	h.digits("0.4")
	h.choose("unit", "V")
	require.Contains(t, h.held(), "0.4")
	h.press(`#main form[action="/run/lock"] button`)
	require.Empty(t, h.held(), "who signs out here leaves nothing")
}

// TestBayKeepsPaper: a dialogue that is half filled goes on where it was, the
// reading on its pad too; begun anew it is empty.
func TestBayKeepsPaper(t *testing.T) {
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(800, 1280), c: c}
	h.open(c.address() + "/paper/work")
	h.turn(`#main button[name=signer][value=operator]`)
	h.say("module_swapped")
	h.say("packs.main")
	h.touch("#main textarea[name=answer]")
	h.insert("mid-link refi")
	again := func(key, text string) {
		t.Helper()
		h.reload()
		h.wait(`document.querySelector("#main input[name=asked]")`)
		require.Equal(t, key, h.askedFor())
		require.Contains(t, h.text(), "packs.main")
		require.Contains(t, h.text(), text)
		require.Contains(t, h.text(), "Begin anew")
	}
	again("text", "What was done?")
	require.Equal(t, "mid-link refi", h.value("#main textarea[name=answer]"))
	h.inspect("paper-brought-back", axe(t), os.Getenv("HVPROOF_SHOTS"))
	h.touch("#main textarea[name=answer]")
	h.insert("tted")
	h.turn(`#main form[data-paper] button.strong`)
	require.Contains(t, h.text(), "mid-link refitted")
	h.say("read half a string")
	h.say("operator")
	h.say("2027-03-20, before noon")
	h.typedReading("201 V at the string")
	h.turn(`#main button[name=quantity][value=resistance]`)
	h.digits("0.3")
	h.choose("unit", "mΩ")
	again("found", "mid-link refitted")
	require.Equal(t, "0.3", h.value("#digits"))
	require.Equal(t, "mΩ", h.value("input[name=unit]:checked"))
	h.turn(`#main button[name=go]`)
	require.Contains(t, h.text(), "zero point three milliohm")
	h.turn(`#main button[name=go]`)
	again("found", "201 V, at the string")
	require.Contains(t, h.text(), "0.3 mΩ")
	h.eval(`document.getElementById("main").dataset.old = "1"`, nil)
	h.touch("#main a[data-forget]")
	h.wait(`document.getElementById("main") && !document.getElementById("main").dataset.old && document.querySelector("#main button[name=signer]")`)
	require.NotContains(t, h.text(), "packs.main")
	assert.NotContains(t, h.held(), "packs.main")
}

// TestBayKeepsFile: a file that was refused is still chosen, and goes along when
// the form is sent again; one that has changed on the device since, or that the
// browser has lost with its page, is asked for by its name.
func TestBayKeepsFile(t *testing.T) {
	c := newScopeCounter(t)
	h := &hands{tab: newBrowser(t).newTab(800, 1280), c: c}
	h.open(c.address() + "/begin/charge")
	h.choose("operator", "operator")
	h.choose("with.scope", "scope-1")
	h.press(`#main form[action^="/begin/"] button.strong`)
	n, err := logSize(c.dir)
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "ramp.csv")
	require.NoError(t, os.WriteFile(file, []byte("no capture\nat all\n"), 0o644))
	h.attach("input[name=file]", file)
	send := func(text string) {
		t.Helper()
		h.turned(`#main form[action="/run/answer"] button.strong`)
		require.Contains(t, h.text(), text)
	}
	chosen := func() (count int) {
		h.eval(`document.querySelector("#main form[action='/run/answer'] input[name=file]").files.length`, &count)
		return count
	}
	for range 2 {
		send("Still chosen: ramp.csv")
		require.Equal(t, 1, chosen())
		require.Contains(t, h.text(), "ramp.csv:", "it is refused for what is in it")
	}
	require.NoError(t, os.WriteFile(file, []byte("another thing, and longer than it was before\n"), 0o644))
	h.touch(`#main form[action="/run/answer"] button.strong`)
	h.wait(`document.body.innerText.includes("Choose the file again: ramp.csv")`)
	require.Zero(t, chosen())
	h.attach("input[name=file]", file)
	h.reload()
	h.wait(`document.body.innerText.includes("Choose the file again: ramp.csv")`)
	size, err := logSize(c.dir)
	require.NoError(t, err)
	require.Equal(t, n, size, "nothing was recorded")
	require.NoError(t, os.WriteFile(file, ramp(20_000), 0o644))
	h.attach("input[name=file]", file)
	h.press(`#main form[action="/run/answer"] button.strong`)
	size, err = logSize(c.dir)
	require.NoError(t, err)
	assert.Equal(t, n+1, size)
	assert.NotContains(t, h.held(), "ramp.csv")
}

// turned touches a key, and waits for the page that comes, whatever it says.
func (h *hands) turned(selector string) {
	h.t.Helper()
	h.eval(`document.getElementById("main").dataset.was = "1"`, nil)
	h.touch(selector)
	h.wait(`!document.getElementById("main").dataset.was && !document.getElementById("main").hasAttribute("aria-busy")`)
}
