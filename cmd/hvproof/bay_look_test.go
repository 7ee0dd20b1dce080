//go:build outside

package main

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/carfolder"
)

// axe gives the source of axe-core, which is not part of this repository.
func axe(t *testing.T) string {
	t.Helper()
	path := os.Getenv("HVPROOF_AXE")
	require.NotEmpty(t, path, "set HVPROOF_AXE to axe.min.js of the npm package axe-core 4: npm install --prefix DIR axe-core@4, then DIR/node_modules/axe-core/axe.min.js")
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Contains(t, string(text[:200]), "axe v4.")
	return string(text)
}

// newWalkCounter serves the page of a small car that has the procedure walk,
// in a process of its own.
func newWalkCounter(t *testing.T) *counter {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	port := l.Addr().(*net.TCPAddr).Port
	require.NoError(t, l.Close())
	car := newCar(t, t.TempDir())
	car.write("procedures/walk.yaml", walk)
	c := &counter{t: t, dir: car.dir, config: car.config, port: port, began: time.Now()}
	t.Cleanup(c.kill)
	c.serve()
	return c
}

// sizes and schemes that every page is looked at in.
var screens = []struct{ width, height int }{{1280, 800}, {800, 1280}, {390, 844}}

// inspect holds the page that is shown against axe-core's rules and the
// house's own: sizes, gaps and contrast as measured, nothing wider than the
// screen, also at twice the size, nothing beside the focus chosen beforehand.
func (p *tab) inspect(name, source, shots string) {
	p.t.Helper()
	var checked int
	for _, dark := range []bool{false, true} {
		p.dark(dark)
		for _, s := range screens {
			p.size(s.width, s.height)
			at := fmt.Sprintf("%s at %d×%d, dark %t", name, s.width, s.height, dark)
			if shots != "" {
				p.shot(filepath.Join(shots, fmt.Sprintf("%s-%d-%s.png", name, s.width, map[bool]string{false: "light", true: "dark"}[dark])))
			}
			var wide []string
			p.eval(`document.scrollingElement.scrollWidth > innerWidth ? [...document.querySelectorAll("*")].filter((e) => e.getBoundingClientRect().right > innerWidth + 1).map((e) => e.outerHTML.slice(0, 80)) : []`, &wide)
			assert.Empty(p.t, wide, "wider than the screen: %s", at)
			p.measure(at)
		}
		p.size(1280, 800)
		var result struct {
			Passes     int
			Violations []struct {
				ID, Help string
				Nodes    []struct {
					HTML           string
					FailureSummary string
				}
			}
		}
		require.NoError(p.t, p.try(source+"; 0", nil))
		p.eval(`axe.run(document, {runOnly: {type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}, rules: {"color-contrast-enhanced": {enabled: true}}})
			.then((r) => ({Passes: r.passes.length, Violations: r.violations.map((v) => ({ID: v.id, Help: v.help, Nodes: v.nodes.map((n) => ({HTML: n.html, FailureSummary: n.failureSummary}))}))}))`, &result)
		require.Greater(p.t, result.Passes, 10, name)
		checked += result.Passes
		for _, v := range result.Violations {
			text, _ := json.MarshalIndent(v.Nodes, "", " ")
			assert.Fail(p.t, "axe: "+v.ID, "%s, dark %t: %s\n%.1500s", name, dark, v.Help, text)
		}
	}
	require.NotZero(p.t, checked)
	p.do("Emulation.setDeviceMetricsOverride", map[string]any{"width": 640, "height": 400, "deviceScaleFactor": 2, "mobile": false}) // 1280 × 800 at 200 %
	var over bool
	p.eval("document.scrollingElement.scrollWidth > innerWidth", &over)
	assert.False(p.t, over, "wider than the screen at 200 %%: %s", name)
	p.size(1280, 800)
	var focus string
	p.eval(`document.activeElement.tagName + document.activeElement.id`, &focus)
	assert.Contains(p.t, []string{"BODY", "MAINmain"}, focus, "something has the focus beforehand: %s", name)
	var chosen int
	p.eval(`[...document.querySelectorAll("#main input:checked")].length`, &chosen)
	assert.Zero(p.t, chosen, "something is chosen beforehand: %s", name)
}

// TestBayLook looks at every page and every kind of question. With
// HVPROOF_SHOTS it leaves a picture of each there.
func TestBayLook(t *testing.T) {
	source, shots := axe(t), os.Getenv("HVPROOF_SHOTS")
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(1280, 800), c: c}
	look := func(name string) { h.inspect(name, source, shots) }
	for name, path := range map[string]string{"ready": "/", "procedures": "/procedures", "procedure": "/procedures/walk", "limits": "/limits",
		"readings-none": "/readings", "people": "/people", "stop": "/stop", "run-none": "/run", "begin": "/begin/walk", "fail": "/nowhere"} {
		h.open(c.address() + path)
		look(name)
	}
	h.open(c.address() + "/begin/walk")
	for role, id := range map[string]string{"operator": "operator", "witness": "witness", "releaser": "releaser"} {
		h.choose(role, id)
	}
	require.Empty(t, h.press(`#main form[action^="/begin/"] button.strong`).Fault)
	record := `#main form[action="/run/answer"] button.strong`
	look("run-ambient")
	h.touch("input[name=temperature]")
	h.digits("17")
	h.touch("input[name=humidity]")
	h.digits("62")
	h.choose("surface", "dry")
	h.press(record)
	look("run-caution")
	h.choose("caution", "live")
	h.press(record)
	look("run-state")
	h.choose("state.packs", "out")
	h.press(record)
	look("run-statement")
	h.press(`#main button[name=text][value=sound]`)
	look("run-witness")
	h.choose("person", "witness")
	h.press(`#main button[name=text]`)
	h.choose("state.switch", "open")
	h.press(record)
	look("run-reading")
	h.touch(record) // no digits
	h.wait(`document.querySelector(".fault")`)
	look("run-fault")
	h.touch(`[data-key="-"]`)
	h.digits("70.4")
	h.choose("unit", "V")
	h.press(record)
	look("run-read-back")
	h.press(record)
	look("run-again")
	h.touch("textarea[name=reason]")
	h.insert("capacitors not yet empty")
	h.press(`#main button[name=then][value=again]`)
	look("run-second")
	h.digits("0.4")
	h.choose("unit", "V")
	h.press(record)
	h.press(record)
	look("run-wait")
	h.digits("6")
	h.choose("unit", "s")
	h.press(record)
	look("run-release")
	other := h.newTab(1280, 800)
	other.open(c.address() + "/run")
	h.choose("person", "releaser")
	h.press(`#main button[name=text]`)
	other.wait(`document.querySelector("#digits") === null && document.querySelector("#main h1").textContent.includes("Box to the chassis")`)
	other.inspect("run-follows", source, shots)
	h.open(c.address() + "/run/steps")
	look("steps")
	h.open(c.address() + "/readings")
	look("readings")
	h.open(c.address() + "/readings/walk/dead")
	look("reading")

	// Taken over, both say so, without anybody loading a page.
	h.open(c.address() + "/run")
	other.touch(".reply details > summary")
	other.touch(`#main input[name=person][value=operator]`)
	other.touch(`#main form[action="/run/unlock"] button`)
	other.wait(`document.body.innerText.includes("Taken over from")`)
	h.wait(`document.body.innerText.includes("took this run over")`)
	look("run-taken")

	// Stop: the instruction stands before the server is asked, and without it.
	c.kill()
	h.wait(`document.body.classList.contains("lost")`)
	h.touch(".stop")
	var safe string
	h.eval(`document.getElementById("safe").checkVisibility() ? document.getElementById("safe").innerText : ""`, &safe)
	require.Contains(t, safe, "Leads off.")
	h.wait(`document.querySelector("[data-stop-said]").textContent.startsWith("NOT recorded")`)
	if shots != "" {
		h.shot(filepath.Join(shots, "stop-without-server.png"))
	}
	c.serve()
	h.wait(`document.querySelector("[data-stop-said]").textContent.startsWith("Pressed")`)
	h.touch("[data-safe-close]")
	h.wait(`document.querySelector("#main form[action='/run/unlock']") && document.body.innerText.includes("Stop was pressed")`)
	look("run-unlock")
	h.choose("person", "operator")
	h.press(`#main form[action="/run/unlock"] button`)
	require.Contains(t, h.text(), "The state of the car first")
	look("run-resume")
}

// TestBayLookDemo looks at the demo car's pages: the three stops, and a
// measurement with all its cautions, limits and units.
func TestBayLookDemo(t *testing.T) {
	source, shots := axe(t), os.Getenv("HVPROOF_SHOTS")
	c := newCounter(t)
	c.away(func(p *player) error {
		files, err := demoFiles()
		require.NoError(t, err)
		chapters, err := readStory(files)
		require.NoError(t, err)
		for _, ch := range chapters {
			if ch.Answers == "040-isolation_parts.yaml" {
				return nil
			}
			if err := p.chapter(ch); err != nil {
				return err
			}
		}
		return nil
	})
	h := &hands{tab: newBrowser(t).newTab(1280, 800), c: c}
	h.open(c.address() + "/")
	h.inspect("demo-ready", source, shots)
	file, err := readAnswers(filepath.Join(c.dir, "answers", "040-isolation_parts.yaml"))
	require.NoError(t, err)
	folder, faults := carfolder.Load(c.dir)
	require.False(t, faults.Errors())
	h.plan, err = folder.Plan("isolation_parts", true)
	require.NoError(t, err)
	h.open(c.address() + "/begin/isolation_parts")
	h.inspect("demo-begin", source, shots)
	require.Empty(t, h.begin("isolation_parts", file))
	seen := 0
	for {
		a := h.look()
		if a.None {
			break
		}
		name := strings.Fields(a.Mark)[3]
		for _, want := range []string{"sign_in.tasks:caution", "sign_in.tasks:state", "sign_in.papers", "time_out.expected", "dead.waited", "dead.poles", "drive.isolation", "sign_out.sources"} {
			if name == want {
				h.inspect("demo-"+strings.ReplaceAll(want, ":", "-"), source, shots)
				seen++
			}
		}
		h.one(a)
	}
	assert.Equal(t, 8, seen)
	h.open(c.address() + "/limits")
	h.inspect("demo-limits", source, shots)
	h.open(c.address() + "/procedures")
	h.inspect("demo-procedures", source, shots)
	h.open(c.address() + "/readings")
	h.inspect("demo-readings", source, shots)
}

// TestBayKeepsDigits: what was typed outlives a lost connection and a server
// that was started again; it is never sent by itself.
func TestBayKeepsDigits(t *testing.T) {
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(390, 844), c: c}
	h.toReading()
	h.digits("0.4")
	h.choose("unit", "V")
	require.NoError(t, c.process.Process.Signal(syscall.SIGSTOP)) // as a lost Wi-Fi: nothing answers, and nothing says so
	h.wait(`document.body.classList.contains("lost")`)
	require.Contains(t, h.text(), "Not connected. Nothing can be recorded")
	typed := func() (digits, unit string) {
		h.eval(`document.getElementById("digits").value`, &digits)
		h.eval(`document.querySelector("input[name=unit]:checked").value`, &unit)
		return
	}
	digits, unit := typed()
	require.Equal(t, []string{"0.4", "V"}, []string{digits, unit})
	require.NoError(t, c.process.Process.Signal(syscall.SIGCONT))
	h.wait(`!document.body.classList.contains("lost")`)
	time.Sleep(500 * time.Millisecond) // the page has asked for itself by then
	digits, unit = typed()
	require.Equal(t, []string{"0.4", "V"}, []string{digits, unit})
	back := h.press(`#main form[action="/run/answer"] button.strong`)
	require.True(t, back.Back, "nothing was recorded before it is read back")
	c.kill()
	h.wait(`document.body.classList.contains("lost")`)
	c.serve()
	h.wait(`document.querySelector("#main form[action='/run/unlock']")`)
	require.NotContains(t, h.text(), "0.4 V", "after a restart the car comes first")
}

// toReading takes a run of walk up to its first reading.
func (h *hands) toReading() {
	h.t.Helper()
	h.open(h.c.address() + "/begin/walk")
	for role, id := range map[string]string{"operator": "operator", "witness": "witness", "releaser": "releaser"} {
		h.choose(role, id)
	}
	h.press(`#main form[action^="/begin/"] button.strong`)
	h.touch("input[name=temperature]")
	h.digits("17")
	h.touch("input[name=humidity]")
	h.digits("62")
	h.choose("surface", "dry")
	record := `#main form[action="/run/answer"] button.strong`
	h.press(record)
	h.choose("caution", "live")
	h.press(record)
	h.choose("state.packs", "out")
	h.press(record)
	h.press(`#main button[name=text][value=sound]`)
	h.choose("person", "witness")
	h.press(`#main button[name=text]`)
	h.choose("state.switch", "open")
	h.press(record)
}

// TestBayKeyboard: by keyboard alone a reading is typed and read back; Enter
// alone records nothing.
func TestBayKeyboard(t *testing.T) {
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(1280, 800), c: c}
	h.toReading()
	before := h.look().Mark
	key := func(name, text string) {
		down := map[string]any{"type": "keyDown", "key": name, "code": name}
		if text != "" {
			down["text"] = text
		}
		if name == "Enter" {
			down["windowsVirtualKeyCode"], down["text"] = 13, "\r"
		}
		if name == "Tab" {
			down["windowsVirtualKeyCode"] = 9
		}
		h.do("Input.dispatchKeyEvent", down)
		h.do("Input.dispatchKeyEvent", map[string]any{"type": "keyUp", "key": name, "code": name})
	}
	for range 5 {
		key("Enter", "")
	}
	time.Sleep(300 * time.Millisecond)
	require.Equal(t, before, h.look().Mark)
	h.eval(`document.getElementById("digits").focus()`, nil)
	for _, d := range "0x.4M" { // letters are no part of a number
		key(string(d), string(d))
	}
	var typed string
	h.eval(`document.getElementById("digits").value`, &typed)
	require.Equal(t, "0.4", typed)
	h.eval(`document.querySelector("input[name=unit][value=V]").focus()`, nil)
	key(" ", " ")
	h.eval(`document.getElementById("digits").focus()`, nil)
	key("Enter", "")
	h.wait(`document.querySelector("[name=read]")`)
	for range 5 {
		key("Enter", "")
	}
	time.Sleep(300 * time.Millisecond)
	a := h.look()
	require.Equal(t, before, a.Mark, "Enter alone records nothing")
	require.True(t, a.Back)
	h.eval(`document.querySelector("#main button.strong").focus()`, nil)
	key("Enter", "")
	h.wait(fmt.Sprintf(`document.getElementById("main").dataset.mark !== %s`, quoted(before)))
	require.Contains(t, h.text(), "Leave it alone.")
}

// TestBayFast prints what people wait for.
func TestBayFast(t *testing.T) {
	c := newCounter(t)
	c.serve()
	p := newBrowser(t).newTab(1280, 800)
	for _, path := range []string{"/", "/run", "/limits", "/procedures", "/begin/isolation_parts", "/work", "/permits", "/paper/work"} {
		var ready []float64
		var bytes, files float64
		for i := range 7 {
			p.open(c.address() + path)
			var m struct{ Ready, Bytes, Files float64 }
			p.wait(`performance.getEntriesByType("navigation")[0].loadEventEnd > 0`)
			p.eval(`(() => { const n = performance.getEntriesByType("navigation")[0], r = performance.getEntriesByType("resource").filter((e) => !e.name.endsWith("/events"));
				return {Ready: n.loadEventEnd, Bytes: n.decodedBodySize + r.reduce((s, e) => s + e.decodedBodySize, 0), Files: 1 + r.length}; })()`, &m)
			ready = append(ready, m.Ready)
			if i == 0 {
				bytes, files = m.Bytes, m.Files
			}
		}
		sort.Float64s(ready)
		t.Logf("%-24s ready after %3.0f ms (median of %d; asked for: 300), %3.0f kB in %.0f files (asked for: 150)", path, ready[len(ready)/2], len(ready), bytes/1000, files)
		assert.Less(t, bytes, 150e3, path)
	}
	var outside []string
	p.eval(`performance.getEntriesByType("resource").map((e) => e.name).filter((n) => !n.startsWith(location.origin))`, &outside)
	assert.Empty(t, outside, "nothing is fetched from elsewhere")
	assert.True(t, strings.HasPrefix(c.address(), "http://127.0.0.1"))
}

// TestBayForged: a page of another origin on the same machine, to which the
// browser even sends the cookie along, can neither post, read nor frame.
func TestBayForged(t *testing.T) {
	c := newWalkCounter(t)
	h := &hands{tab: newBrowser(t).newTab(1280, 800), c: c}
	h.toReading()
	var token, mark string
	h.eval(`document.querySelector("[data-answer] [name=token]").value`, &token) // let it even know these
	h.eval(`document.querySelector("[data-answer] [name=mark]").value`, &mark)
	before, err := logSize(c.dir)
	require.NoError(t, err)
	evil := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		fmt.Fprintf(w, `<!doctype html><title>x</title><iframe src="%[1]s/run"></iframe>
<form method="post" action="%[1]s/stop"><input name="token" value="%[2]s"></form>`, c.address(), token)
	}))
	defer evil.Close()
	h.open(evil.URL)
	var read string
	h.eval(fmt.Sprintf(`fetch(%q, {credentials: "include"}).then((r) => r.text()).catch((e) => "refused by the browser")`, c.address()+"/run"), &read)
	assert.Equal(t, "refused by the browser", read)
	h.eval(fmt.Sprintf(`fetch(%q, {method: "POST", mode: "no-cors", credentials: "include", body: new URLSearchParams({token: %q, mark: %q, digits: "0.4", unit: "V"})}).then(() => 0, () => 0)`,
		c.address()+"/run/answer", token, mark), nil)
	h.eval(`document.forms[0].submit()`, nil)
	h.wait(`location.pathname === "/stop"`)
	assert.Contains(t, h.text(), "The request came from another site")
	h.open(c.address() + "/run")
	assert.Equal(t, mark, strings.Join(strings.Fields(h.look().Mark)[:len(strings.Fields(mark))], " "))
	after, err := logSize(c.dir)
	require.NoError(t, err)
	assert.Equal(t, before, after, "nothing was recorded")
}
