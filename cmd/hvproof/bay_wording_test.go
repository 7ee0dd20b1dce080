package main

import (
	"encoding/xml"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/bay"
)

// foreign writes a text in letters that no word of this program has: an
// invented language, whose words can be told from any that were not
// translated. Places in braces stay.
func foreign(text string) string {
	var b strings.Builder
	inside := false
	for _, r := range text {
		inside = r == '{' || inside && r != '}'
		switch {
		case inside:
		case r >= 'a' && r <= 'z':
			r = []rune("αβγδεζηθικλμνξοπρστυφχψωϊϋ")[r-'a']
		case r >= 'A' && r <= 'Z':
			r = []rune("ΑΒΓΔΕΖΗΘΙΚΛΜΝΞΟΠΡΣΤΥΦΧΨΩΪΫ")[r-'A']
		}
		b.WriteRune(r)
	}
	return b.String()
}

// foreignWording is the built-in wording in that language, which writes a
// decimal comma.
func foreignWording(t *testing.T) *bay.Wording {
	t.Helper()
	var b strings.Builder
	for line := range strings.Lines(bay.BuiltInWordingFile()) {
		key, text, ok := strings.Cut(strings.TrimSpace(line), " = ")
		switch {
		case !ok || strings.HasPrefix(line, "#"):
			continue
		case key == "language":
			text = "el"
		case key == "decimal":
			text = ","
		case key == "numbers":
			text = "digits"
		default:
			text = foreign(text)
		}
		b.WriteString(key + " = " + text + "\n")
	}
	w, faults := bay.ParseWording("el.txt", b.String())
	require.Empty(t, faults)
	return w
}

// sentences of the test car's files, which a shop writes in its own language.
var sentences = []string{"Walk through", "Everything that a run can ask for.", "Leads off.", "Hands off.", "Look at the leads.", "Plus to minus, read it.", "Less the tester.",
	"Leave it alone.", "The rest is released.", "Box to the chassis bolt, read it.", "Covers of every box.", "cracked", "sound", "fitted", "Bench check",
	"A live part must not be taken for a dead one.", "The pack is live at its terminals, always.", "Insulating gloves, blown up and looked at.", "House rules", "Mule"}

// leftovers gives the Latin words of a page that are neither a name, nor marked
// as not to be translated (translate="no": ids, formulas, values as recorded)
// or as said in English by the program (lang="en").
func leftovers(t *testing.T, page string, names []string) (out []string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	type level struct {
		name  string
		apart bool
	}
	stack := []level{{}}
	words := regexp.MustCompile(`[A-Za-z][A-Za-z_.0-9-]+`)
	look := func(text, where string) {
		for _, w := range words.FindAllString(text, -1) {
			w = strings.TrimRight(w, ".-")
			if !slices.Contains(names, w) && regexp.MustCompile(`[A-Za-z]{2}`).MatchString(w) {
				out = append(out, w+" in "+where+": "+strings.Join(strings.Fields(text), " "))
			}
		}
	}
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		switch x := token.(type) {
		case xml.StartElement:
			now := level{x.Name.Local, stack[len(stack)-1].apart}
			for _, a := range x.Attr {
				if a.Name.Local == "translate" && a.Value == "no" || a.Name.Local == "lang" && a.Value == "en" {
					now.apart = true
				}
			}
			now.apart = now.apart || now.name == "style" || now.name == "script"
			for _, a := range x.Attr {
				if slices.Contains([]string{"aria-label", "alt", "title", "placeholder"}, a.Name.Local) && !now.apart {
					look(a.Value, now.name+" "+a.Name.Local)
				}
			}
			stack = append(stack, now)
		case xml.EndElement:
			if len(stack) > 1 {
				stack = stack[:len(stack)-1]
			}
		case xml.CharData:
			if top := stack[len(stack)-1]; !top.apart {
				look(string(x), top.name)
			}
		}
	}
}

// TestBayForeign goes through every page and every kind of question in an
// invented language: no word of another is left.
func TestBayForeign(t *testing.T) {
	b := newRealBench(t)
	b.end()
	translate := strings.NewReplacer(func() (pairs []string) {
		for _, s := range sentences {
			pairs = append(pairs, s, foreign(s))
		}
		return
	}()...)
	for _, name := range []string{"procedures/walk.yaml", "procedures/bench.yaml", "cautions.yaml", "rules/house.yaml", "vehicle.yaml"} {
		b.car.write(name, translate.Replace(b.car.read(name)))
	}
	reasons := regexp.MustCompile(`(?m)^( +[a-z_]+: )([^\[{#\n]* [^\n]*)$`)
	b.car.write("rework.yaml", reasons.ReplaceAllStringFunc(b.car.read("rework.yaml"), func(line string) string {
		m := reasons.FindStringSubmatch(line)
		return m[1] + foreign(m[2])
	}))
	b.opt.Wording = foreignWording(t)
	b.serve()
	d := b.device()
	names := []string{"r.mills", "s.okoro", "d.vance", "hvproof", "voltmeter", "open"} // ids, and the one choice of the car that is a word of a state, too
	seen := map[string]bool{}
	check := func(name string) {
		t.Helper()
		seen[name] = true
		assert.Regexp(t, `[α-ω]{3}`, d.body, name)
		for _, left := range leftovers(t, d.body, names) {
			assert.Fail(t, "a word that no wording has", "%s: %s", name, left)
		}
	}
	for _, path := range []string{"/", "/procedures", "/procedures/walk", "/limits", "/readings", "/people", "/stop", "/run", "/begin/walk", "/nowhere", "/work", "/permits", "/paper/permit", "/paper/work", "/paper/item"} {
		d.get(path)
		check(path)
	}
	answer := func(name string, pairs ...string) {
		t.Helper()
		d.answer(pairs...)
		require.Equal(t, 200, d.status, d.words())
		check(name)
	}
	d.get("/begin/walk").post("/begin/walk", "operator", "r.mills", "witness", "s.okoro", "releaser", "d.vance", "passphrase", "quiet copper door")
	check("ambient")
	d.answer("temperature", "1x", "humidity", "62", "surface", "dry")
	check("a fault")
	answer("caution", "temperature", "17,5", "humidity", "62", "surface", "dry")
	answer("state", "caution", "live")
	answer("statement", "state.packs", "out")
	answer("witness", "text", foreign("sound"))
	answer("second state", "person", "s.okoro", "passphrase", "seven dry leaves", "text", "seen")
	answer("reading", "state.switch", "open")
	answer("read back", "digits", "-70,4", "unit", "V")
	require.Contains(t, d.body, "-70.4 V", "what was typed with a comma is shown in its canonical form")
	answer("again")
	answer("second attempt", "then", "again", "reason", foreign("leads"))
	answer("read back", "digits", "0,4", "unit", "V")
	answer("wait")
	b.skew += 6 * time.Second
	answer("release", "digits", "6", "unit", "s")
	d.get("/run/steps")
	check("steps")
	d.get("/readings")
	check("readings")
	d.get("/readings/walk/dead")
	check("reading")
	d.get("/run").post("/run/lock")
	check("locked")
	d.post("/stop")
	check("stopped")
	one := d.body
	d.fill("/paper/work", "r.mills", "work", "module_swapped")
	check("paper with keys")
	d.post("/paper/work", "answer", "main")
	for _, pair := range [][2]string{{"text", "α"}, {"reason", "α"}, {"by", "r.mills"}, {"done", "α"}, {"found", ""}, {"left", ""}, {"values", ""}} {
		check("paper " + pair[0])
		if pair[1] == "" {
			d.post("/paper/work", "none", "yes")
		} else {
			d.post("/paper/work", "answer", pair[1])
		}
	}
	check("photographs")
	d.post("/paper/work", "none", "yes").post("/paper/work", "none", "yes")
	check("to be signed")
	d.post("/paper/work", "record", "yes", "passphrase.0", "quiet copper door")
	require.Equal(t, "/work", d.where, d.words())
	check("work that was recorded")
	d.fill("/paper/item", "r.mills", "item", "joint", "text", "α", "parts", "", "blocks", "power").post("/paper/item", "record", "yes", "passphrase.0", "quiet copper door")
	check("an open item")
	d.get(regexpFind(t, `href="(/items/i\d+)"`, d.body))
	check("closing an item")
	assert.NotEmpty(t, one)
	assert.Greater(t, len(seen), 35)
}
