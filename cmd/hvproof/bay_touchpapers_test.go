//go:build outside

package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// paper answers a dialogue of the page by touch, from a recorded answers file:
// the keys where they are offered, else in words.
func (h *hands) paper(address, answers, role string) {
	h.t.Helper()
	file, err := readAnswers(filepath.Join(h.c.dir, "answers", answers))
	require.NoError(h.t, err)
	h.open(h.c.address() + address)
	h.turn(fmt.Sprintf(`#main button[name=signer][value=%s]`, quoted(file.people[role])))
	for range 30 {
		key := h.askedFor()
		if key == "" {
			break
		}
		var texts []string
		for _, g := range file.answers[key] {
			texts = append(texts, g.Text)
		}
		h.say(texts...)
	}
	require.Empty(h.t, h.askedFor(), "the dialogue does not end")
	h.turn(`#main button[name=record]`)
	var at string
	h.eval(`location.pathname`, &at)
	require.NotEqual(h.t, address, at, "it is not recorded: %s", h.text())
}

// askedFor gives the field that the page asks for, "" when all is answered.
func (h *hands) askedFor() (key string) {
	h.t.Helper()
	h.eval(`document.querySelector("#main input[name=asked]")?.value || ""`, &key)
	return key
}

// say answers one question of a dialogue; nothing is None.
func (h *hands) say(texts ...string) {
	h.t.Helper()
	has := func(selector string) (yes bool) {
		h.eval(`!!document.querySelector(`+quoted(selector)+`)`, &yes)
		return yes
	}
	if has(`#main button[name=quantity]`) {
		for _, text := range texts {
			h.typedReading(text)
		}
		h.turn(`#main button[name=` + map[bool]string{true: "none", false: "next"}[len(texts) == 0] + `]`)
		return
	}
	typed := false
	for _, text := range texts {
		key := fmt.Sprintf(`#main button[name=answer][value=%s]`, quoted(text))
		box := fmt.Sprintf(`#main input[name=answer][value=%s]`, quoted(text))
		switch {
		case has(key):
			h.turn(key)
			return
		case has(box):
			h.touch(box)
		default:
			h.touch("#main textarea[name=answer]")
			if typed {
				h.do("Input.insertText", map[string]any{"text": "\n"})
			}
			h.insert(text)
			typed = true
		}
	}
	if len(texts) == 0 {
		h.turn(`#main button[name=none]`)
		return
	}
	h.turn(`#main form[data-paper] button.strong`)
}

// typedReading types a reading of a dialogue on the pad, such as "0.56 MΩ from
// its plus to chassis", and has it read back.
func (h *hands) typedReading(text string) {
	h.t.Helper()
	m := regexp.MustCompile(`^([<>]?-?[\d.]+) (\S+?),?(?: (.*))?$`).FindStringSubmatch(text)
	require.NotNil(h.t, m, text)
	quantity := map[string]string{"V": "voltage", "Ω": "resistance", "mΩ": "resistance", "MΩ": "resistance", "N·m": "torque"}[m[2]]
	require.NotEmpty(h.t, quantity, text)
	h.turn(`#main button[name=quantity][value=` + quantity + `]`)
	h.digits(m[1])
	h.choose("unit", m[2])
	if m[3] != "" {
		h.touch("#main input[name=of]")
		h.insert(m[3])
	}
	h.turn(`#main button[name=go]`)
	var words string
	h.eval(`document.querySelector("#main .words")?.innerText || ""`, &words)
	require.Contains(h.t, words, map[string]string{"V": " volt", "Ω": " ohm", "mΩ": " milliohm", "MΩ": " megohm", "N·m": " newton metre"}[m[2]])
	h.turn(`#main button[name=go]`)
}

// turn touches a key that sends a dialogue's page, and waits for what comes.
func (h *hands) turn(selector string) {
	h.t.Helper()
	h.turned(selector)
	var fault string
	h.eval(`document.querySelector("#main .fault")?.innerText || ""`, &fault)
	require.Empty(h.t, fault, selector)
}

// decide decides about the newest nonconformance of a procedure.
func (h *hands) decide(procedure, answers string) {
	h.t.Helper()
	h.open(h.c.address() + "/")
	var address string
	h.eval(fmt.Sprintf(`[...document.querySelectorAll("#main .way > li")].filter((li) => li.innerText.startsWith(%s)).map((li) => li.querySelector("a[href^='/paper/decide/']")?.getAttribute("href")).filter(Boolean).pop() || ""`,
		quoted(procedure+", ")), &address)
	require.NotEmpty(h.t, address, "nothing of %s is to be decided: %s", procedure, h.text())
	h.paper(address, answers, "releaser")
}

// permit asks for a sanction for test, or for a permit to energise.
func (h *hands) permit(what, answers string) {
	h.t.Helper()
	if what == "energise" {
		h.paper("/paper/permit", answers, "releaser")
		require.Contains(h.t, h.text(), "is in force until the end of")
		return
	}
	h.paper("/paper/sanction/"+what, answers, "releaser")
	require.True(h.t, h.sanctioned(what), h.text())
}

// sanctioned reports whether the page of permits says so.
func (h *hands) sanctioned(procedure string) (yes bool) {
	h.t.Helper()
	h.open(h.c.address() + "/permits")
	h.eval(fmt.Sprintf(`[...document.querySelectorAll("#main .steps > li .prompt")].some((p) => p.querySelector("[data-is=holds]") && p.textContent.includes(%s))`, quoted(": "+procedure+", until")), &yes)
	return yes
}

// newScopeCounter serves the page of a small car that has a procedure with a
// capture and one that is live, besides walk.
func newScopeCounter(t *testing.T) *counter {
	t.Helper()
	c := newWalkCounter(t)
	c.kill()
	text, err := os.ReadFile(filepath.Join(c.dir, "instruments.yaml"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(c.dir, "instruments.yaml"), []byte(strings.TrimRight(string(text), "\n")+"\n"+scope), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(c.dir, "procedures", "charge.yaml"), []byte(charge), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(c.dir, "procedures", "alive.yaml"), []byte(live), 0o644))
	c.serve()
	return c
}

// TestBayLookPapers looks at the pages for work, permits, decisions and items,
// at a waveform, and at a time read off a screen.
func TestBayLookPapers(t *testing.T) {
	source, shots := axe(t), os.Getenv("HVPROOF_SHOTS")
	c := newScopeCounter(t)
	h := &hands{tab: newBrowser(t).newTab(1280, 800), c: c}
	look := func(name string) { t.Helper(); h.inspect(name, source, shots) }
	for name, path := range map[string]string{"works-none": "/work", "permits-none": "/permits", "paper-refused": "/paper/permit"} {
		h.open(c.address() + path)
		look(name)
	}
	h.open(c.address() + "/paper/work")
	look("paper-signer")
	h.turn(`#main button[name=signer][value=operator]`)
	look("paper-choices")
	h.say("module_swapped")
	look("paper-parts")
	h.say("packs.main")
	look("paper-words")
	h.say("mid-link refitted")
	h.say("read half a string")
	look("paper-who")
	h.say("operator")
	h.say("2027-03-20, before noon")
	look("paper-quantity")
	h.turn(`#main button[name=quantity][value=resistance]`)
	look("paper-pad")
	h.digits("0.3")
	h.choose("unit", "mΩ")
	h.turn(`#main button[name=go]`)
	require.Contains(t, h.text(), "zero point three milliohm")
	look("paper-read-back")
	h.turn(`#main button[name=go]`)
	h.typedReading("201 V at the string")
	look("paper-readings")
	h.turn(`#main button[name=next]`)
	h.say()
	h.say()
	require.Equal(t, "photos", h.askedFor())
	look("paper-photos")
	picture := filepath.Join(t.TempDir(), "lug.png")
	require.NoError(t, os.WriteFile(picture, []byte("\x89PNG\r\n\x1a\n"), 0o644))
	h.attach("input[name=file]", picture)
	h.turn(`#main form[data-paper] button.strong`)
	h.say()
	require.Contains(t, h.text(), "lug.png")
	look("paper-check")
	h.turn(`#main button[name=record]`)
	require.Contains(t, h.text(), "mid-link refitted")
	look("works")
	h.open(c.address() + "/paper/item")
	h.turn(`#main button[name=signer][value=operator]`)
	h.say("joint")
	h.say("main plus only nipped up")
	h.say()
	h.say("power")
	h.turn(`#main button[name=record]`)
	look("ready-items")
	h.touch(`a[href^="/items/"]`)
	h.wait(`document.querySelector("#main [name=tool]")`)
	look("item")
	h.touch("#main textarea[name=text]")
	h.insert("cleaned and torqued")
	h.digits("17")
	h.choose("unit", "N·m")
	for name, text := range map[string]string{"tool": "torque-2", "mark": "yellow, across both"} {
		h.touch("#main input[name=" + name + "]")
		h.insert(text)
	}
	h.choose("by", "operator")
	h.choose("seen_by", "witness")
	h.choose("person", "operator")
	h.turn(`#main form[action^="/items/"] button.strong`)
	require.Contains(t, h.text(), "seventeen newton metre")
	look("item-read-back")
	h.attach("input[name=file]", picture)
	h.turn(`#main form[action^="/items/"] button.strong`)
	look("ready-closed")
	h.touch("#main details > summary")
	h.touch(`#main details a[href^="/items/"]`)
	h.wait(`document.querySelector("#main img.photo")`)
	look("item-closed")

	h.open(c.address() + "/begin/charge")
	h.choose("operator", "operator")
	h.choose("with.scope", "scope-1")
	require.Empty(t, h.press(`#main form[action^="/begin/"] button.strong`).Fault)
	look("run-capture")
	file := filepath.Join(t.TempDir(), "ramp.csv")
	require.NoError(t, os.WriteFile(file, ramp(200_000), 0o644))
	h.attach("input[name=file]", file)
	h.press(`#main form[action="/run/answer"] button.strong`)
	if strings.Contains(h.text(), "Once more with the reason") {
		look("run-wave-again")
		h.touch("textarea[name=reason]")
		h.insert("as it is")
		h.press(`#main button[name=then][value=failed]`)
	}
	look("run-division")
	h.digits("31.2")
	h.choose("unit", "ms")
	h.eval(`document.getElementById("division").focus()`, nil)
	h.digits("10")
	h.choose("division_unit", "ms")
	back := h.press(`#main form[action="/run/answer"] button.strong`)
	require.True(t, back.Back, back.Fault)
	require.Contains(t, h.text(), "31.2 ms at 10 ms per division")
	look("run-division-back")
	h.open(c.address() + "/readings/charge/ramp")
	look("reading-wave")
	h.touch(`a[href^="/trace/"]`)
	h.wait(`document.getElementById("scope") && document.querySelector("#scope img").complete`)
	look("trace")
	span := func() (from, to float64) {
		var s struct{ From, To float64 }
		h.eval(`({From: Number(document.getElementById("scope").dataset.from), To: Number(document.getElementById("scope").dataset.to)})`, &s)
		return s.From, s.To
	}
	from, to := span()
	for range 3 {
		was := h.where()
		h.touch(`[data-view="trace in"]`)
		h.wait(`location.href !== ` + quoted(was))
	}
	closer, closerTo := span()
	assert.InDelta(t, (to-from)/8, closerTo-closer, 1e-6)
	was := h.where()
	h.touch(`[data-view="trace later"]`)
	h.wait(`location.href !== ` + quoted(was))
	later, _ := span()
	assert.InDelta(t, closer+(to-from)/16, later, 1e-6)
	h.eval(`document.activeElement.blur()`, nil) // the key keeps the focus, for whoever uses a keyboard
	look("trace-closer")
	was = h.where()
	h.eval(`(() => { const i = document.querySelector("#scope img"), r = i.getBoundingClientRect(), y = r.top + 60;
		for (const [kind, x] of [["pointerdown", r.left + 400], ["pointerup", r.left + 200]]) i.dispatchEvent(new PointerEvent(kind, {bubbles: true, clientX: x, clientY: y})); })()`, nil)
	h.wait(`location.href !== ` + quoted(was))
	pushed, _ := span()
	assert.Greater(t, pushed, later, "pushed to the left, later is seen")
	h.touch(`[data-view="trace whole"]`)
	h.wait(fmt.Sprintf(`Math.abs(Number(document.getElementById("scope").dataset.from) - %v) < 1e-9`, from))
}

func (h *hands) where() (address string) {
	h.t.Helper()
	h.eval(`location.href`, &address)
	return address
}
