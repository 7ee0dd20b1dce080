package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// vehicleWith gives a vehicle file with further lines.
func vehicleWith(lines string) string {
	return "format: 1\nname: Mule\nassessed_to: [house]\n" + lines + "\n"
}

// rulesWith gives a rule set whose one limit has the formula.
func rulesWith(formula string) string {
	return "format: 1\nrules: house\ntitle: House\nedition: 1.10\nlimits:\n  dead_voltage:\n    magnitude_at_most: " + formula +
		"\n    source: adopted\n    status: shop\n"
}

// aliasBomb is a few hundred bytes that would be a gigabyte.
func aliasBomb() string {
	var b strings.Builder
	b.WriteString("a0: &a0 [x, x, x, x, x, x, x, x, x]\n")
	for i := 1; i < 10; i++ {
		fmt.Fprintf(&b, "a%d: &a%d [%s*a%d]\n", i, i, strings.Repeat(fmt.Sprintf("*a%d, ", i-1), 8), i-1)
	}
	return b.String()
}

func utf16LE(text string) string {
	out := []byte{0xff, 0xfe}
	for _, u := range utf16.Encode([]rune(text)) {
		out = append(out, byte(u), byte(u>>8))
	}
	return string(out)
}

// TestBadFiles gives check each kind of bad file: a clear error with its place,
// exit code 2, and nothing written.
func TestBadFiles(t *testing.T) {
	tests := map[string]struct {
		file, text string
		wants      []string
	}{
		"wrong unit":            {"vehicle.yaml", vehicleWith("dc_link: {capacitance: 1.02 mf}"), []string{"vehicle.yaml:4:29: ", "did you mean 1.02 mF"}},
		"no unit":               {"vehicle.yaml", vehicleWith("dc_link: {capacitance: 1.02}"), []string{"vehicle.yaml:4:24: "}},
		"wrong dimension":       {"vehicle.yaml", vehicleWith("dc_link: {capacitance: 1.02 Ω}"), []string{"vehicle.yaml:4:24: ", "Ω", "F"}},
		"dimension of formula":  {"rules/house.yaml", rulesWith("60 V * 2 A"), []string{"see rules/house.yaml:7:24", "want V, got W"}},
		"decimal comma":         {"vehicle.yaml", vehicleWith(`dc_link: {capacitance: "1,02 mF"}`), []string{"vehicle.yaml:4:", "1.02 mF"}},
		"typo in a key":         {"vehicle.yaml", vehicleWith("dc_link: {capactance: 1.02 mF}"), []string{"vehicle.yaml:4:11: ", "did you mean", "capacitance"}},
		"typo in a step's key":  {"procedures/bench.yaml", "format: 1\nprocedure: bench\ntitle: B\nstage: A\nsteps:\n  - {id: a, confrim: Look.}\n", []string{"procedures/bench.yaml:6:", "did you mean", "confirm"}},
		"duplicate key":         {"vehicle.yaml", vehicleWith("name: Donkey"), []string{"vehicle.yaml:4:1: ", "name", "2"}},
		"tab":                   {"vehicle.yaml", vehicleWith("dc_link:\n\tcapacitance: 1.02 mF"), []string{"vehicle.yaml:5:1: ", "tab"}},
		"UTF-16":                {"vehicle.yaml", utf16LE(vehicleWith("")), []string{"vehicle.yaml: ", "UTF-16"}},
		"not UTF-8":             {"vehicle.yaml", vehicleWith("note: \xff\xfe"), []string{"vehicle.yaml:4:", "UTF-8"}},
		"NUL":                   {"vehicle.yaml", vehicleWith("note: \x00"), []string{"vehicle.yaml:4:"}},
		"empty":                 {"vehicle.yaml", "", []string{"vehicle.yaml"}},
		"list for a map":        {"vehicle.yaml", "- 1\n- 2\n", []string{"vehicle.yaml:1:1: "}},
		"second document":       {"vehicle.yaml", vehicleWith("---\nname: Donkey"), []string{"vehicle.yaml:4:"}},
		"newer format":          {"vehicle.yaml", "format: 2\nname: Mule\n", []string{"vehicle.yaml:1:9: ", "format"}},
		"cut off":               {"vehicle.yaml", "format: 1\nname: Mule\ndc_link: {capacitance: 1.02 m", []string{"vehicle.yaml:4:1: ", "line 3", "cut off"}},
		"alias bomb":            {"vehicle.yaml", aliasBomb(), []string{"vehicle.yaml:1:", "anchor"}},
		"deep YAML":             {"vehicle.yaml", "format: 1\nname: " + strings.Repeat("[", 10_000) + "\n", []string{"vehicle.yaml:", "deep"}},
		"deep block YAML":       {"vehicle.yaml", deepBlocks(1000), []string{"vehicle.yaml:", "deep"}},
		"deep formula":          {"rules/house.yaml", rulesWith(strings.Repeat("(", 10_000) + "60 V" + strings.Repeat(")", 10_000)), []string{"rules/house.yaml:7:24: ", "2000"}},
		"deep short formula":    {"rules/house.yaml", rulesWith(strings.Repeat("(", 900) + "60 V" + strings.Repeat(")", 900)), []string{"rules/house.yaml:7:", "deep"}},
		"deep negation":         {"rules/house.yaml", rulesWith(`"` + strings.Repeat("-", 1500) + `60 V"`), []string{"rules/house.yaml:7:"}},
		"not a number":          {"vehicle.yaml", vehicleWith("dc_link: {capacitance: NaN F}"), []string{"vehicle.yaml:4:24: ", "NaN"}},
		"YAML's not a number":   {"vehicle.yaml", vehicleWith("dc_link: {capacitance: .nan}"), []string{"vehicle.yaml:4:24: "}},
		"infinity":              {"vehicle.yaml", vehicleWith("dc_link: {capacitance: Inf F}"), []string{"vehicle.yaml:4:24: "}},
		"too large":             {"vehicle.yaml", vehicleWith("dc_link: {capacitance: 1e999 F}"), []string{"vehicle.yaml:4:24: "}},
		"infinite formula":      {"rules/house.yaml", rulesWith("60 V * exp(exp(exp(9)))"), []string{"rules/house.yaml:7:"}},
		"division by zero":      {"rules/house.yaml", rulesWith("60 V / (1 - 1)"), []string{"rules/house.yaml:7:"}},
		"negative resistance":   {"vehicle.yaml", vehicleWith("dc_link: {capacitance: 1 mF, bleed: -22 kΩ}"), []string{"vehicle.yaml:4:37: ", "negative"}},
		"path for a name":       {"vehicle.yaml", vehicleWith("bonding: {points: [../../etc/passwd]}"), []string{"vehicle.yaml:4:20: "}},
		"control in a name":     {"vehicle.yaml", vehicleWith(`bonding: {points: ["bo\e[2Jx"]}`), []string{"vehicle.yaml:4:20: "}},
		"control in a title":    {"vehicle.yaml", "format: 1\nname: \"Mu\\e]0;owned\\ale\"\nassessed_to: [house, \"\\e[31m\"]\n", []string{"vehicle.yaml:3:"}},
		"bidi in a name":        {"vehicle.yaml", vehicleWith("bonding: {points: [\u202edlobx]}"), []string{"vehicle.yaml:4:20: "}},
		"bidi in a key":         {"vehicle.yaml", vehicleWith("\u202edlob: 1"), []string{"vehicle.yaml:4:1: "}},
		"path for a procedure":  {"procedures/bench.yaml", "format: 1\nprocedure: ../../bench\ntitle: B\nstage: A\nsteps:\n  - {id: a, confirm: Look.}\n", []string{"procedures/bench.yaml:2:12: "}},
		"path for a step":       {"procedures/bench.yaml", "format: 1\nprocedure: bench\ntitle: B\nstage: A\nsteps:\n  - {id: ../a, confirm: Look.}\n", []string{"procedures/bench.yaml:6:"}},
		"path for a meter":      {"instruments.yaml", "format: 1\ninstruments:\n  ../m: {kind: m, roles: [a], calibrated_until: 2999-12-31, functions: {v: {unit: V, ranges: [{to: 1 V, fixed: 1 V}]}}}\n", []string{"instruments.yaml:3:3: "}},
		"no such date":          {"instruments.yaml", "format: 1\ninstruments:\n  m: {kind: m, roles: [a], calibrated_until: 2027-02-30, functions: {v: {unit: V, ranges: [{to: 1 V, fixed: 1 V}]}}}\n", []string{"instruments.yaml:3:46: ", "2027-02-30"}},
		"loop over nothing":     {"procedures/bench.yaml", "format: 1\nprocedure: bench\ntitle: B\nstage: A\nsteps:\n  - for_every: contactors\n    called: c\n    steps:\n      - {id: a, confirm: Look.}\n", []string{"procedures/bench.yaml:6:"}},
		"loop over the unknown": {"procedures/bench.yaml", "format: 1\nprocedure: bench\ntitle: B\nstage: A\nsteps:\n  - for_every: contractors\n    called: c\n    steps:\n      - {id: a, confirm: Look.}\n", []string{"procedures/bench.yaml:6:", "did you mean"}},
	}
	c := newCar(t, t.TempDir())
	for name, test := range tests {
		t.Run(name, func(t *testing.T) {
			good := c.read(test.file)
			defer c.write(test.file, good)
			c.write(test.file, test.text)
			c.in("check").wantRefusal(t, 2, test.wants...)
			c.in("run", "bench", "--answers", "passes.yaml").wantRefusal(t, 2, test.wants...)
			r := c.in("check", "--json")
			r.wantRefusal(t, 2)
			assert.Empty(t, checkDocument("check", r.code, []byte(r.out)))
		})
	}
	c.grew(0)
}

func deepBlocks(n int) string {
	var b strings.Builder
	b.WriteString("format: 1\nname: Mule\n")
	for i := range n {
		b.WriteString(strings.Repeat(" ", i) + "a:\n")
	}
	return b.String()
}

// TestCutOff cuts every kind of file off at many places: whatever is left is
// read, or refused with a place, and the program stands.
func TestCutOff(t *testing.T) {
	c := newCar(t, t.TempDir())
	for _, file := range []string{"vehicle.yaml", "instruments.yaml", "people.yaml", "cautions.yaml", "rules/house.yaml", "procedures/bench.yaml", "passes.yaml"} {
		good := c.read(file)
		for cut := 0; cut < len(good); cut += 1 + len(good)/40 {
			c.write(file, good[:cut])
			r := c.in("check")
			assert.Contains(t, []int{0, 2}, r.code, "%s cut at %d: %s", file, cut, r.out+r.talk)
			r.wantRefusal(t, r.code)
			if file == "passes.yaml" {
				r = c.in("run", "bench", "--answers", "passes.yaml")
				want := []int{2, 3}
				if strings.Count(good[cut:], "\n") == 1 && strings.TrimSpace(good[cut:]) == "" {
					want = []int{0} // all of it but the end of the last line
				}
				assert.Contains(t, want, r.code, "%s cut at %d: %s", file, cut, r.out+r.talk)
			}
		}
		c.write(file, good)
	}
	require.Equal(t, 0, c.in("verify").code)
}

// TestHugeFiles refuses files of a hundred megabytes without reading them.
func TestHugeFiles(t *testing.T) {
	c := newCar(t, t.TempDir())
	for _, file := range []string{"vehicle.yaml", "instruments.yaml", "rules/house.yaml", "procedures/bench.yaml", "cautions.yaml", "people.yaml", "huge_answers.yaml"} {
		good := ""
		if file != "huge_answers.yaml" {
			good = c.read(file)
		}
		c.sparse(file, 100<<20)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		r := c.in("run", "bench", "--answers", "huge_answers.yaml")
		runtime.ReadMemStats(&after)
		r.wantRefusal(t, 2)
		if file != "huge_answers.yaml" {
			r.wantRefusal(t, 2, file)
			c.write(file, good)
		}
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(40<<20), "%s: it was read into memory", file)
	}
	c.grew(0)
}

// TestByteOrderMark: what some editors put before the text is passed over.
func TestByteOrderMark(t *testing.T) {
	c := newCar(t, t.TempDir())
	for _, file := range []string{"vehicle.yaml", "instruments.yaml", "rules/house.yaml", "procedures/bench.yaml"} {
		c.write(file, "\ufeff"+c.read(file))
	}
	assert.Equal(t, 0, c.in("check").code)
	assert.Equal(t, 0, c.in("run", "bench", "--answers", "passes.yaml").code)
}

// TestRevisionStays: an edition 1.10 is not 1.1, quoted or not, all the way
// to the record.
func TestRevisionStays(t *testing.T) {
	c := newCar(t, t.TempDir())
	c.write("rules/house.yaml", strings.Replace(c.read("rules/house.yaml"), `"1.10"`, "1.10", 1))
	c.write("instruments.yaml", strings.Replace(c.read("instruments.yaml"), `"1.10"`, "1.10", 1))
	assert.Contains(t, c.in("limits", "--explain", "dead_voltage").out, "House rules, 1.10\n")
	assert.Contains(t, c.in("instrument", "--json").out, `"serial":"1.10"`)
	r := c.in("run", "bench", "--answers", "passes.yaml", "--json")
	require.Equal(t, 0, r.code, r.talk)
	var doc runDocument
	require.NoError(t, json.Unmarshal([]byte(r.out), &doc))
	require.NotNil(t, doc.Steps[1].Limit)
	assert.Contains(t, doc.Steps[1].Limit.Source, "1.10")
}

// TestHostileAnswers: what is typed is kept as typed, and shown so that it
// cannot deceive.
func TestHostileAnswers(t *testing.T) {
	c := newCar(t, t.TempDir())
	typed := "\x1b[2J\u202eeverything is off\rrecorded run-end 1"
	c.do("sound\n0.4 V\n", "-C", c.dir, "run", "bench").wantRefusal(t, 3)
	c.do(typed+"\n18 mΩ\nfitted\n", "-C", c.dir, "resume").wantRefusal(t, 0)
	c.in("log").wantRefusal(t, 0, `\u{001B}[2J\u{202E}everything is off`)
	c.in("log", "--note", "8").wantRefusal(t, 0, `text: \u{1B}[2J\u{202E}everything is off\rrecorded run-end 1`)
	for name, text := range map[string]string{
		"keys":  "answers:\n  \"\\e[2Jleads\": sound\n",
		"value": "answers:\n  leads: \"\\e[2Jsound\"\n  dead: \"\\e]0;x\\a 1 V\"\n",
		"role":  "people: {operator: \"\\u202e../../operator\"}\n",
		"meter": "instruments: {voltmeter: \"../\\e[2J\"}\n",
	} {
		c.write("hostile.yaml", text)
		r := c.in("run", "bench", "--answers", "hostile.yaml")
		r.wantRefusal(t, 2)
		assert.NotEmpty(t, r.talk, name)
	}
	c.do("\x1b[2J\nsound\u202e\n", "-C", c.dir, "run", "bench").wantRefusal(t, 3)
	for _, id := range []string{"\x1b[2J", "../../x", "\u202e", strings.Repeat("x", 100_000)} {
		c.in("run", id).wantRefusal(t, 2)
		c.in("show", id).wantRefusal(t, 2)
		c.in("resume", id).wantRefusal(t, 2)
		c.in("plan", id).wantRefusal(t, 2)
		c.in("limits", "--explain", id).wantRefusal(t, 2)
		c.in("person", "add", id).wantRefusal(t, 2)
		c.in("person", "show", id).wantRefusal(t, 2)
		c.in(id).wantRefusal(t, 2)
		c.in("check", "--"+id).wantRefusal(t, 2)
		c.do("", "-C", id, "check").wantRefusal(t, 2)
	}
	require.Equal(t, 0, c.in("verify").code)
}
