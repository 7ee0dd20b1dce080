//go:build outside

package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/carfolder"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A counter is the program serving the page of the demo car in a process of
// its own, on a port that stays the same.
type counter struct {
	t           *testing.T
	dir, config string
	port        int
	began       time.Time
	process     *exec.Cmd
}

// newCounter makes the demo's practice car, with nothing done at it.
func newCounter(t *testing.T) *counter {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	port := l.Addr().(*net.TCPAddr).Port
	require.NoError(t, l.Close())
	dir := t.TempDir()
	c := &counter{t: t, dir: filepath.Join(dir, "car"), config: filepath.Join(dir, "config"), port: port, began: time.Now()}
	require.NoError(t, carfolder.InitDemo(c.dir))
	a := c.app()
	require.NoError(t, a.beginPractice(t.Context(), c.dir, []practicePerson{
		{"d.vance", []people.Role{people.Releaser}},
		{"r.mills", []people.Role{people.Operator, people.Witness, people.Releaser}},
		{"s.okoro", []people.Role{people.Operator, people.Witness}},
		{"k.brandt", []people.Role{people.Operator, people.Witness}},
	}))
	t.Cleanup(c.kill)
	return c
}

// clock is the demo's, which runs on from one process to the next.
func (c *counter) clock() string {
	start, err := time.Parse(time.RFC3339, demoClock)
	require.NoError(c.t, err)
	return start.Add(time.Since(c.began)).Format(time.RFC3339)
}

func (c *counter) app() *app {
	return &app{in: strings.NewReader(""), out: io.Discard, err: io.Discard, dir: c.dir, now: time.Now, started: time.Now(),
		env: func(name string) string {
			return map[string]string{"HVPROOF_CONFIG": c.config, "HVPROOF_NOW": c.clock()}[name]
		}}
}

func (c *counter) address() string { return fmt.Sprintf("http://127.0.0.1:%d", c.port) }

func (c *counter) serve() {
	c.t.Helper()
	c.process = exec.Command("hvproof", "-C", c.dir, "bay", "--port", strconv.Itoa(c.port))
	c.process.Env = append(os.Environ(), "HVPROOF_CONFIG="+c.config, "HVPROOF_NOW="+c.clock())
	out, err := c.process.StdoutPipe()
	require.NoError(c.t, err)
	require.NoError(c.t, c.process.Start())
	line := make([]byte, 64)
	n, err := out.Read(line)
	require.NoError(c.t, err)
	require.Equal(c.t, c.address()+"\n", string(line[:n]))
}

// kill ends the process as a power cut does.
func (c *counter) kill() {
	if c.process != nil {
		_ = c.process.Process.Kill()
		_ = c.process.Wait()
		c.process = nil
	}
}

// away does something with the log while the page is not served.
func (c *counter) away(do func(*player) error) {
	c.t.Helper()
	c.kill()
	a := c.app()
	s, err := a.write(context.Background())
	require.NoError(c.t, err)
	folder, err := s.load()
	require.NoError(c.t, err)
	files, err := demoFiles()
	require.NoError(c.t, err)
	err = do(&player{s: s, out: io.Discard, folder: folder, files: files})
	s.close()
	require.NoError(c.t, err)
	c.serve()
}

// hands are a person's at the page: they answer what is asked with what a
// recorded answers file says, by touch.
type hands struct {
	*tab
	c       *counter
	plan    *plan.Plan
	answers *answersDriver
	killing bool // kill the server before every answer
	counted int
	times   []time.Duration // of answers recorded
}

// asked is what the page shows.
type asked struct {
	Mark, Heading, Fault string
	Unlock, Form, Cause  bool
	Back, None, Lost     bool
	States               [][2]string
	Cautions             []string
}

const look = `(() => { const m = document.getElementById("main"), has = (s) => !!m.querySelector(s);
	return {Mark: m.dataset.mark, Heading: m.querySelector("h1")?.textContent || "", Fault: m.querySelector(".fault")?.innerText || "",
	Unlock: has("form[action='/run/unlock']"), Form: has("form[action='/run/answer']"), Cause: has("[name=cause]"), Back: has("[name=read]"),
	None: !has("form[data-answer]"), Lost: document.body.classList.contains("lost"),
	States: [...m.querySelectorAll("[data-state]")].map((e) => [e.dataset.state, e.dataset.value]),
	Cautions: [...m.querySelectorAll("[name=caution]")].map((e) => e.value)}; })()`

func (h *hands) look() (a asked) {
	h.t.Helper()
	h.eval(look, &a)
	return a
}

// choose touches the radio or box with this name and value.
func (h *hands) choose(name, value string) {
	h.t.Helper()
	h.touch(fmt.Sprintf(`#main input[name=%s][value=%s]`, strconv.Quote(name), quoted(value)))
}

func quoted(text string) string {
	b, _ := json.Marshal(text)
	return string(b)
}

// press touches the button that sends a form, and waits for what comes.
func (h *hands) press(selector string) asked {
	h.t.Helper()
	before := h.look()
	begun := time.Now()
	h.touch(selector)
	h.wait(fmt.Sprintf(`(() => { const m = document.getElementById("main"); return !m.hasAttribute("aria-busy") &&
		(m.dataset.mark !== %s || !!m.querySelector(".fault") || !!m.querySelector("[name=read]") !== %t); })()`, quoted(before.Mark), before.Back))
	if a := h.look(); a.Mark != before.Mark && a.Fault == "" {
		h.times = append(h.times, time.Since(begun))
	}
	return h.look()
}

// begin begins a chapter's run; it is refused where the page says so.
func (h *hands) begin(procedure string, file *answersFile) (fault string) {
	h.t.Helper()
	h.answers = &answersDriver{file: file, used: map[string]int{}}
	for role, id := range file.people {
		var can bool
		h.eval(fmt.Sprintf(`!!document.querySelector('input[name=%s]')`, role), &can)
		if can {
			h.choose(role, id)
		}
	}
	var single []string
	h.eval(`[...new Set([...document.querySelectorAll("input[name^='with.']")].map((e) => e.name))].filter((n) => document.getElementsByName(n).length === 1).map((n) => n.slice(5))`, &single)
	for role, id := range file.instruments {
		var can bool
		h.eval(fmt.Sprintf(`!!document.querySelector('input[name="with.%s"]')`, role), &can)
		if can {
			h.choose("with."+role, id)
		}
	}
	for _, role := range single {
		if file.instruments[role] == "" {
			h.touch(fmt.Sprintf(`input[name="with.%s"]`, role))
		}
	}
	return h.press(`#main form[action^="/begin/"] button.strong`).Fault
}

// finish answers until the run is over.
func (h *hands) finish() {
	h.t.Helper()
	for {
		a := h.look()
		require.Empty(h.t, a.Fault)
		if a.None {
			return
		}
		if h.killing {
			h.survive(a)
			a = h.look()
		}
		h.counted++
		h.one(a)
	}
}

// survive kills the server, has the page say so, and goes on where the log
// says.
func (h *hands) survive(before asked) {
	h.t.Helper()
	h.c.kill()
	h.wait(`document.body.classList.contains("lost")`)
	if before.Form {
		var off bool
		h.eval(`[...document.querySelectorAll("#main form[data-answer] button:not([type=button])")].every((b) => b.disabled)`, &off)
		require.True(h.t, off, "an answer could be given that nobody would store")
	}
	h.c.serve()
	h.wait(`!document.body.classList.contains("lost") && !!document.querySelector("#main form[action='/run/unlock']")`)
	h.choose("person", "r.mills")
	h.press(`#main form[action="/run/unlock"] button`)
	for {
		a := h.look()
		f := strings.Fields(a.Mark)
		require.GreaterOrEqual(h.t, len(f), 4)
		if a.Heading == before.Heading && f[2] == strings.Fields(before.Mark)[2] {
			return
		}
		require.Contains(h.t, []string{"resume", "caution", "state"}, f[2], a.Heading)
		h.around(f[2], a)
	}
}

// around answers what is asked around a step.
func (h *hands) around(kind string, a asked) {
	h.t.Helper()
	switch kind {
	case "caution":
		for _, c := range a.Cautions {
			h.choose("caution", c)
		}
	case "state", "resume":
		for _, s := range a.States {
			h.choose("state."+s[0], s[1])
		}
		if len(a.States) == 0 {
			h.touch("textarea[name=text]")
			h.insert("as it was left")
		}
	}
	next := h.press(`#main form[action="/run/answer"] button.strong`)
	require.Empty(h.t, next.Fault)
}

func (p *tab) insert(text string) {
	p.t.Helper()
	p.do("Input.insertText", map[string]any{"text": text})
}

// one answers one question.
func (h *hands) one(a asked) {
	h.t.Helper()
	f := strings.SplitN(a.Mark, " ", 5)
	require.Len(h.t, f, 5, a.Heading)
	kind, key := f[2], f[3]
	if kind == "caution" || kind == "state" || kind == "resume" {
		h.around(kind, a)
		return
	}
	// However long a resistor must cool, that long was waited: it is practice.
	p := run.Prompt{Kind: run.PromptKind(kind), Key: key, NeedCause: a.Cause, Need: 15 * time.Minute}
	path, _, _ := strings.Cut(key, ":")
	if i, ok := h.plan.Step(path); ok {
		p.Step = &h.plan.Steps[i]
	}
	given, err := h.answers.answer(p)
	require.NoError(h.t, err)
	var next asked
	switch kind {
	case "ambient":
		parts := strings.Split(given.Text, ",")
		h.touch("input[name=temperature]")
		h.digits(strings.TrimSuffix(strings.TrimSpace(parts[0]), " °C"))
		h.touch("input[name=humidity]")
		h.digits(strings.TrimSuffix(strings.TrimSpace(parts[1]), " %"))
		h.choose("surface", strings.TrimSpace(parts[2]))
		next = h.press(`#main form[action="/run/answer"] button.strong`)
	case "statement":
		next = h.press(fmt.Sprintf(`#main button[name=text][value=%s]`, quoted(given.Text)))
	case "witness", "release":
		who := h.answers.file.people[map[string]string{"witness": "witness", "release": "releaser"}[kind]]
		h.choose("person", who)
		next = h.press(`#main button[name=text]`)
	case "again":
		h.touch("textarea[name=reason]")
		h.insert(first(given.Reason, "as found"))
		if a.Cause {
			h.touch("textarea[name=cause]")
			h.insert(first(given.Cause, given.Reason, "not known"))
		}
		next = h.press(fmt.Sprintf(`#main button[name=then][value=%s]`, map[bool]string{true: "again", false: "failed"}[given.Again]))
	case "capture":
		text := given.Text
		if name, isFile := run.CaptureFile(text); isFile {
			h.attach("input[name=file]", filepath.Join(h.c.dir, filepath.FromSlash(name)))
			_, text, _ = strings.Cut(text, ";")
		}
		if text = strings.TrimSpace(text); text != "" {
			h.touch("textarea[name=text]")
			h.insert(text)
		}
		next = h.press(`#main form[action="/run/answer"] button.strong`)
		if next.Back { // read by eye or by hand
			next = h.press(`#main form[action="/run/answer"] button.strong`)
		}
	case "wait":
		h.reading(given.Text, p.Step)
		next = h.press(`#main form[action="/run/answer"] button.strong`)
	case "reading":
		h.reading(given.Text, p.Step)
		if given.Range != "" {
			h.eval(fmt.Sprintf(`document.querySelector("select[name=range]").value = %s`, quoted(given.Range)), nil)
		}
		back := h.press(`#main form[action="/run/answer"] button.strong`)
		require.Empty(h.t, back.Fault, "%s: %s", key, given.Text)
		require.True(h.t, back.Back, "%s is read back", key)
		next = h.press(`#main form[action="/run/answer"] button.strong`)
	default:
		require.Fail(h.t, "nobody knows how to answer", kind)
	}
	require.Empty(h.t, next.Fault, "%s: %s", key, given.Text)
}

var readingParts = regexp.MustCompile(`^([<>]?)\s*([-−]?)(\d*\.?\d*)\s*(.*)$`)

// reading types a reading on the pad's keys.
func (h *hands) reading(text string, st *plan.Step) {
	h.t.Helper()
	if strings.HasSuffix(text, "OL") {
		if strings.HasPrefix(text, "-") {
			h.touch(`[data-key="-"]`)
		}
		h.touch(`input[name=over]`)
		return
	}
	text, division, _ := strings.Cut(strings.TrimSuffix(text, "/div"), " at ")
	m := readingParts.FindStringSubmatch(text)
	require.NotNil(h.t, m, text)
	h.digits(m[1] + strings.ReplaceAll(m[2], "−", "-") + m[3])
	unit := m[4]
	if base, _ := st.Dim.Unit(); len([]rune(unit)) == 1 && strings.Contains("kMmGµ", unit) {
		unit += base
	}
	h.choose("unit", first(unit, "1"))
	if digits, per, ok := strings.Cut(division, " "); ok {
		h.eval(`document.getElementById("division").focus()`, nil)
		h.digits(digits)
		h.choose("division_unit", per)
	}
}

func (h *hands) digits(text string) {
	h.t.Helper()
	for _, d := range text {
		h.touch(fmt.Sprintf(`[data-key=%s]`, quoted(string(d))))
	}
}

// play takes a chapter's run from its Begin to its end.
func (h *hands) play(procedure, answers string, retest bool) (outcome string) {
	h.t.Helper()
	file, err := readAnswers(filepath.Join(h.c.dir, "answers", answers))
	require.NoError(h.t, err)
	folder, faults := carfolder.Load(h.c.dir)
	require.False(h.t, faults.Errors())
	h.plan, err = folder.Plan(procedure, true)
	require.NoError(h.t, err)
	address := h.c.address() + "/begin/" + procedure
	if retest {
		address += "?retest=yes"
	}
	h.open(address)
	if fault := h.begin(procedure, file); fault != "" {
		h.t.Logf("%s is refused: %s", procedure, strings.Join(strings.Fields(fault), " "))
		return run.Refusal
	}
	h.finish()
	text := h.text()
	switch {
	case strings.Contains(text, ": passed."):
		return run.Passed
	case strings.Contains(text, ": failed."):
		return run.Failed
	}
	return text
}

// TestBayDemo takes the demo car through its preparation by touch: what fails,
// what is decided about it, the work with its retests, the sanctions, the
// baseline and the permit.
func TestBayDemo(t *testing.T) {
	c := newCounter(t)
	files, err := demoFiles()
	require.NoError(t, err)
	chapters, err := readStory(files)
	require.NoError(t, err)
	h := &hands{tab: newBrowser(t).newTab(1280, 800), c: c}
	played, papers := 0, 0
	c.serve()
	for _, ch := range chapters {
		switch {
		case ch.Vehicle != "":
			require.NoError(t, useVehicle(c.dir, files, ch.Vehicle))
			continue
		case ch.Pass != "", ch.Plan != "", ch.Faults != "", ch.Ready != "":
			continue
		case ch.Walk.Len() > 0:
			played += h.walk(ch)
			continue
		case ch.Work != "":
			h.paper("/paper/work", ch.Work, "operator")
			papers++
			continue
		case ch.Decide != "":
			h.decide(ch.Decide, ch.Answers)
			papers++
			continue
		case ch.Permit != "":
			h.permit(ch.Permit, ch.Answers)
			papers++
			continue
		case ch.Baseline != "":
			h.paper("/paper/baseline", ch.Baseline, "releaser")
			papers++
			continue
		case ch.Procedure == "":
			c.away(func(p *player) error { return p.chapter(ch) })
			continue
		}
		h.killing = ch.Answers == "040-isolation_parts.yaml"
		require.Equal(t, ch.Outcome, h.play(ch.Procedure, ch.Answers, ch.Retest), ch.Answers)
		h.killing = false
		played++
	}
	c.kill()
	assert.Greater(t, played, 25)
	assert.Greater(t, papers, 12)
	a := c.app()
	var out strings.Builder
	a.out = &out
	require.NoError(t, a.verify(t.Context(), "", verifyFlags{}), out.String())
	sort.Slice(h.times, func(i, k int) bool { return h.times[i] < h.times[k] })
	t.Logf("%d runs, %d answers by touch in %s; an answer is stored and shown after %s, 95 in 100 before %s (page asked every 5 ms)",
		played, h.counted, time.Since(c.began).Round(time.Second), h.times[len(h.times)/2].Round(time.Millisecond), h.times[len(h.times)*95/100].Round(time.Millisecond))
}

// walk runs what the ready page has to begin with, until nothing is owed that
// the story has answers for.
func (h *hands) walk(ch chapter) (played int) {
	h.t.Helper()
	for range 100 {
		h.open(h.c.address() + "/")
		var next string
		h.eval(`document.querySelector("#main a.key[href^='/begin/']")?.getAttribute("href") || ""`, &next)
		procedure, retest := strings.TrimPrefix(next, "/begin/"), strings.HasSuffix(next, "?retest=yes")
		procedure = strings.TrimSuffix(procedure, "?retest=yes")
		answers, ok := ch.Walk.Get(procedure)
		if !ok {
			return played
		}
		folder, faults := carfolder.Load(h.c.dir)
		require.False(h.t, faults.Errors())
		p, err := folder.Plan(procedure, true)
		require.NoError(h.t, err)
		if p.Live && p.Stage >= "C" && !h.sanctioned(procedure) {
			h.permit(procedure, ch.Answers)
		}
		require.Equal(h.t, run.Passed, h.play(procedure, answers.Text, retest), answers.Text)
		played++
	}
	require.Fail(h.t, "the retest plan does not end")
	return played
}
