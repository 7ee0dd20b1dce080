package checklists_test

import (
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/deskcheck"
	"hvproof/internal/diag"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// The demo's desk pass, before any reading: what is refused of the first
// drawing and of the cured car, with the numbers of the project's table.
func TestDeskPass(t *testing.T) {
	all := cars(t)
	refused := func(name string) (sentences []string) {
		f := all[name]
		for _, p := range deskcheck.Problems(deskcheck.Review(f.plan(t, "design_review")), f.car) {
			if p.Severity == diag.Refusal {
				sentences = append(sentences, p.Message)
			}
		}
		return sentences
	}
	first := strings.Join(refused("sandpiper first"), "\n")
	for _, want := range []string{
		"8.635 V, at least 9 V is asked for (shutdown.left_plus.coil_voltage)",
		"1.085 Ω, at most 837.2 mΩ is asked for (shutdown.chain)",
		"470 A, at most 420 A is asked for (packs.left.left_alone)",
		"470 A, at most 210 A is asked for (packs.right.left_alone)",
		"210 A, at least 470 A is asked for (shared.after_loss)",
	} {
		assert.Contains(t, first, want)
	}
	assert.Len(t, refused("sandpiper first"), 8)
	assert.Empty(t, refused("sandpiper"))
	assert.Equal(t, []string{"breaking capacity of fuse main against the short-circuit current of all packs together: 6 kA, at least 7.634 kA is asked for (main.breaks)"}, refused("old bess"))

	// Passive bleed alone is too slow for 5 s, shown and not a fault: an active
	// discharge exists. 49.38 s at worst; 3.734 s with it.
	for _, c := range deskcheck.Review(all["sandpiper first"].plan(t, "design_review")) {
		switch c.Step.Path {
		case "discharge.passive":
			assert.InDelta(t, 49.38, c.Value.Hi, 0.01)
			assert.Empty(t, c.Step.Limits())
		case "discharge.active":
			assert.InDelta(t, 3.734, c.Value.Hi, 0.001)
		case "packs.right.difference":
			assert.InDelta(t, 1.101, c.Step.Limits()[0].High, 0.001)
		case "packs.right.current_with_difference":
			assert.InDelta(t, 209.3, c.Value.Hi, 0.1)
		case "packs.left.current":
			assert.InDelta(t, 352.1, c.Value.Hi, 0.1)
		}
	}
}

// What the demo car gives beyond the project's table, by plain arithmetic beside
// each figure: highest value, or lowest where the limit is a lower one.
func TestDeskFigures(t *testing.T) {
	const (
		cold  = (96*2.64e-3 + 4.875e-3) / (96*2.64e-3 + 4.875e-3 + 96*1.76e-3/2 + 1.8e-3) // left's share, cells cold
		warm  = 131.595 / (131.595 + 44.04)                                               // the same warm, 0.7493
		ghost = 99.00990099e3                                                             // 10 MΩ and 100 kΩ in parallel
	)
	want := map[string]float64{
		"packs.left.current":           352.1,
		"packs.left.cold":              470 * cold,
		"packs.left.fault":             9155,
		"packs.right.fault":            4613,
		"shared.fault":                 13770,
		"shared.left.energy_left":      350.4 * 21 * 3600,
		"shared.right.capacity_left":   42 * 3600,
		"precharge.stuck":              2517,
		"discharge.stored":             91.20,
		"shared.left.fuses":            1,
		"shared.right.poles":           2,
		"precharge.tries.interval":     1.824,
		"others.cables.left_plus.loss": 470 * warm * 470 * warm * 50e-6,
		"others.cables.left_plus.rise": 250 * warm * 250 * warm * 50e-6 * 4,
		"others.isolation.ghost":       403.2 * ghost / (10e6 + ghost),
		"others.isolation.ghost_bare":  403.2 * 10 / (10 + 10),
		"others.isolation.bond":        0.605e-3 + 2*20e-3,
		"others.guards.capacitor":      2.2133 * 0.9509,                                                               // 11 V/4.97 Ω · e^(−2 ms/(4.97 Ω · 8 mF)), lowest
		"others.guards.stored":         0.576,                                                                         // ½ · 8 mF · (12 V)², lowest
		"precharge.tries.attempts":     32,                                                                            // 60 s · 50 W/91.20 J, whole ones, lowest
		"shared.all_cold":              210 / ((96*2.64e-3/2 + 3e-3) / (96*2.64e-3/2 + 3e-3 + 96*1.76e-3 + 2.925e-3)), // right's peak current by its highest share
	}
	lowest := map[string]bool{"others.guards.capacitor": true, "others.guards.stored": true, "precharge.tries.attempts": true, "shared.all_cold": true}
	found := 0
	for _, c := range deskcheck.Review(cars(t)["sandpiper"].plan(t, "design_review")) {
		x, ok := want[c.Step.Path]
		if !ok {
			continue
		}
		found++
		got := c.Value.Hi
		if lowest[c.Step.Path] {
			got = c.Value.Lo
		}
		assert.InEpsilon(t, x, got, 5e-4, c.Step.Path)
		assert.Empty(t, c.Refused, c.Step.Path)
	}
	assert.Equal(t, len(want), found)
}

// A car without fuses, or with one pole that nothing opens, is refused with
// numbers, not passed because there was nothing to check.
func TestNothingToSwitchOffWith(t *testing.T) {
	b, err := os.ReadFile("../testdata/cars/old_bess.yaml")
	require.NoError(t, err)
	text := regexp.MustCompile(`(?m)^fuses:\n.*\n`).ReplaceAllString(strings.Replace(string(b), "pole: minus", "pole: plus", 1), "")
	file, problems := yamlfile.Parse("vehicle.yaml", []byte(text))
	require.Empty(t, problems)
	car, problems := vehicle.Parse(file)
	require.False(t, problems.Errors(), "the file may grow: a warning is enough there")
	require.Len(t, problems, 2)
	var said []string
	for _, p := range deskcheck.Problems(deskcheck.Review(with(t, car).plan(t, "design_review")), car) {
		if p.Severity == diag.Refusal {
			said = append(said, p.Message)
		}
	}
	assert.Equal(t, []string{"fuses that protect pack main: 0, at least 1 is asked for (shared.main.fuses)",
		"poles of pack main that a contactor opens: 1, at least 2 is asked for (shared.main.poles)"}, said)
}

// changed gives Old Bess or the demo car with something else in its file.
func changed(t *testing.T, file, old, with string) *vehicle.Vehicle {
	t.Helper()
	b, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(b), old)
	f, problems := yamlfile.Parse("vehicle.yaml", []byte(strings.Replace(string(b), old, with, 1)))
	require.Empty(t, problems)
	car, problems := vehicle.Parse(f)
	require.False(t, problems.Errors(), problems.String())
	return car
}

// A file that has come as far as its packs: the procedures of what else the car
// will have get no plan, and the desk refuses what it can. Three
// equal packs of 800 A are ample for 1800 A, and not enough with one lost (common
// practice, no source).
func TestCarOfPacksAlone(t *testing.T) {
	const pack = "{cells: {series: 100, parallel: 2, max: 4 V, nominal: 3.6 V, min: 3 V, resistance: 1.0..1.001 mΩ}, path: 2 mΩ, peak_current: 800 A, capacity: 50 Ah}"
	file, problems := yamlfile.Parse("vehicle.yaml", []byte("format: 1\nname: Three\nassessed_to: [workshop]\npacks:\n  a: "+pack+"\n  b: "+pack+"\n  c: "+pack+"\ndrive: {demand: 1800 A}\n"))
	require.Empty(t, problems)
	car, problems := vehicle.Parse(file)
	require.False(t, problems.Errors())
	f := with(t, car)
	for _, id := range []string{"joints", "paralleling", "emergency_off"} {
		p, _ := f.lib.Plan(id, car, f.book, nil, true)
		assert.True(t, p == nil || p.NotApplicable != "", id)
	}
	kept, lost := false, false
	for _, c := range deskcheck.Review(f.plan(t, "design_review")) {
		kept = kept || c.Step.Path == "shared.all" && len(c.Refused) == 0 && c.Value.Lo > 2390
		lost = lost || c.Step.Path == "shared.after_loss" && len(c.Refused) == 1 && c.Value.Lo < 1601
	}
	assert.True(t, kept)
	assert.True(t, lost)
}

// Packs in parallel that are not full at the same voltage: the lower one would be
// overcharged by the other.
func TestPacksThatAreNotFullTogether(t *testing.T) {
	car := changed(t, "demo/vehicle.yaml", "series: 96, parallel: 1", "series: 95, parallel: 1")
	found := false
	for _, c := range deskcheck.Review(with(t, car).plan(t, "design_review")) {
		if c.Step.Path == "shared.right.full" {
			found = true
			assert.InDelta(t, 4.2, c.Value.Hi, 1e-9)
			assert.Len(t, c.Refused, 1)
		}
	}
	assert.True(t, found)
}

// What is missing keeps a run from beginning, and hides no refusal.
func TestMissingValuesHideNoRefusal(t *testing.T) {
	for _, missing := range [][2]string{{"key: {contact: 60 mΩ, wire: 70 mΩ}", "key: {contact: 60 mΩ}"}, {"pull_in: 9.0 V, ", ""}, {"isolation: {parts: [main, drive, dcdc], ", "isolation: {"}} {
		car := changed(t, "../testdata/cars/old_bess.yaml", missing[0], missing[1])
		f := with(t, car)
		draft := f.lib.Draft("design_review", car, f.book)
		require.NotNil(t, draft, missing[0])
		refused := false
		for _, c := range deskcheck.Review(draft) {
			refused = refused || c.Step.Path == "main.breaks" && len(c.Refused) == 1
		}
		assert.True(t, refused, missing[0])
	}
	car := changed(t, "../testdata/cars/old_bess.yaml", "key: {contact: 60 mΩ, wire: 70 mΩ}", "key: {contact: 60 mΩ}")
	f := with(t, car)
	p, _ := f.lib.Plan("design_review", car, f.book, nil, true)
	assert.Nil(t, p)
	assert.Nil(t, f.lib.Draft("no_such", car, f.book))
}

// A value that the file does not give is said by name, and the step that needs
// it is not done; what can kill somebody without it has no such way out.
func TestMissingValuesAreNamed(t *testing.T) {
	p := cars(t)["old bess"].plan(t, "design_review")
	i, ok := p.Step("precharge.tries.give_up")
	require.True(t, ok)
	assert.True(t, p.Steps[i].LacksValue())
	assert.Contains(t, p.Steps[i].NotApplicable, "precharge.give_up is missing: write precharge.give_up in vehicle.yaml")
	for _, path := range []string{"main.voltage", "main.breaks", "shutdown.chain", "shutdown.plus.coil_voltage", "discharge.active"} {
		i, ok := p.Step(path)
		require.True(t, ok, path)
		assert.Empty(t, p.Steps[i].NotApplicable, path)
	}
	for _, c := range deskcheck.Review(p) {
		assert.NotEmpty(t, c.Step.Purpose, "%s does not say what happens if it is exceeded", c.Step.Path)
	}
}

// Every step that charges or empties the DC link has its account.
func TestHeatedResistors(t *testing.T) {
	f := cars(t)["sandpiper"]
	for id, want := range map[string][2]int{"precharge": {1, 1}, "first_closing": {1, 1}, "discharge": {1, 1}, "emergency_off": {8, 8}, "bonding": {0, 0}} {
		got := [2]int{}
		p := f.plan(t, id)
		for i := range p.Steps {
			for _, h := range p.Steps[i].Heats {
				assert.InDelta(t, 91.20, h.Joules, 0.01, p.Steps[i].Path)
				if h.Part == "precharge" {
					got[0]++
					assert.Equal(t, 50.0, h.Watts)
					assert.Equal(t, 900.0, h.Pulse)
				} else {
					got[1]++
					assert.Equal(t, "discharge", h.Part)
				}
			}
		}
		assert.Equal(t, want, got, id)
	}
	// A car without an active discharge has no resistor to account for.
	p := cars(t)["old bess"].plan(t, "discharge")
	for i := range p.Steps {
		for _, h := range p.Steps[i].Heats {
			assert.Equal(t, "precharge", h.Part)
		}
	}
}
