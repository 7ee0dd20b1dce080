package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// A tour is the demo, played once, with what it said and what it left.
type tour struct {
	*testing.T
	said string // white space made one
	s    *session
}

func newTour(t *testing.T) *tour {
	dir := t.TempDir()
	config := filepath.Join(dir, "config")
	cmd := exec.Command("hvproof", "demo", "car")
	cmd.Dir, cmd.Env = dir, append(cmd.Environ(), "HVPROOF_CONFIG="+config)
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	for _, line := range strings.Split(string(out), "\n") {
		assert.LessOrEqual(t, len([]rune(line)), 80, line)
	}
	now := clock.FindStringSubmatch(string(out))
	require.NotNil(t, now)
	a := &app{dir: filepath.Join(dir, "car"), out: io.Discard, err: io.Discard, now: time.Now, started: time.Now(), env: func(name string) string {
		return map[string]string{"HVPROOF_CONFIG": config, "HVPROOF_NOW": strings.TrimPrefix(now[1], "HVPROOF_NOW=")}[name]
	}}
	s, err := a.read(context.Background())
	require.NoError(t, err)
	t.Cleanup(func() { s.close() })
	_, err = s.load()
	require.NoError(t, err)
	return &tour{t, strings.Join(strings.Fields(string(out)), " "), s}
}

// says holds what the demo has said against every wanted piece.
func (t *tour) says(want ...string) {
	t.Helper()
	for _, w := range want {
		assert.True(t.T, strings.Contains(t.said, w), "the demo does not say: %s", w)
	}
}

// run gives the nth run of a procedure, from 0.
func (t *tour) run(procedure string, n int) *run.Machine {
	t.Helper()
	for _, m := range t.s.history.Runs() {
		if m.Plan().Procedure == procedure {
			if n == 0 {
				return m
			}
			n--
		}
	}
	t.Fatalf("the demo has no such run of %s", procedure)
	return nil
}

// step gives what a run has of a step that was answered.
func (t *tour) step(m *run.Machine, path string) (*plan.Step, *run.Attempt) {
	t.Helper()
	for _, s := range m.Steps() {
		if s.Step.Path == path && s.Last() != nil {
			return s.Step, s.Last()
		}
	}
	t.Fatalf("%s of %s was not answered", path, m.Plan().Procedure)
	return nil, nil
}

// at holds a number against a figure of four digits, one more or less in the
// last.
func (t *tour) at(want, got float64, what string) {
	t.Helper()
	last := math.Pow(10, math.Floor(math.Log10(math.Abs(want)))-3)
	assert.InDelta(t.T, want, got, 1.01*last, what)
}

// TestDemo plays the demo once, and holds it against the story that the
// project tells of it.
func TestDemo(t *testing.T) {
	d := newTour(t)
	d.faults()
	d.leak()
	d.retest()
	d.screens()
	d.files()
	d.short()
	d.kept()
}

// faults are the seven that are hidden in the demo car, each with the sentence
// that says it and the numbers of the project's table, which were computed by
// script from the car's data (design of the demo cars, "Computed" and "Seeded
// faults"); what follows by plain arithmetic stands beside the check.
func (d *tour) faults() {
	t := d.T
	assert.Equal(t, 7, len(regexp.MustCompile(` FAULT \d `).FindAllString(d.said, -1)))
	d.says("What the tests have found, 7 faults: 1. ", "power may NOT come on", "exit status 1", "exit status 0", "PERMIT TO ENERGISE until the end of 2027-03-20")

	d.says("With the 12 V supply at its lowest, 10.5 V, the shutdown circuit leaves the coils 8.634 V to 8.924 V, and they need 9 V. A charged battery, 12.8 V, would have given them 10.53 V")
	first, cured := d.run("design_review", 0), d.run("design_review", 1)
	for _, c := range []struct {
		m    *run.Machine
		path string
		end  string
		want float64
		fate string
	}{
		{first, "shutdown.left_plus.coil_voltage", "low", 8.635, run.Fail},
		{first, "shutdown.chain", "high", 1.085, run.Fail},
		{first, "packs.left.left_alone", "high", 1.119 * 420, run.Fail},
		{first, "packs.right.left_alone", "high", 2.238 * 210, run.Fail},
		{first, "discharge.passive", "high", 49.38, run.Done},
		{first, "discharge.active", "high", 3.734, run.Pass},
		{cured, "shutdown.left_plus.coil_voltage", "low", 9.289, run.Pass},
		{cured, "shutdown.chain", "high", 0.6550, run.Pass},
		{cured, "packs.right.left_alone", "high", 200, run.Pass},
	} {
		s, a := d.step(c.m, c.path)
		got := s.From[0].Hi
		if c.end == "low" {
			got = s.From[0].Lo
		}
		d.at(c.want, got, c.path)
		assert.Equal(t, c.fate, a.Decision, c.path)
	}
	assert.InDelta(t, 10.53, 12.8*5.023/(5.023+1.085), 0.01, "coils in parallel 5.023 Ω, chain 1.085 Ω")

	d.says("Joint left_junction_plus was only nipped up: 5.8 N·m ± 0.24 N·m, no torque mark", "0.5929 of 470 A, inside its window of 0.5684 to 0.7493, and the joint would burn 1553 W")
	_, a := d.step(d.run("joints", 0), "left_junction_plus.torque")
	assert.Equal(t, run.Fail, a.Decision)
	share := 109.5 / (55.2 + 20 + 109.5) // mΩ: right, left and the joint
	d.at(0.5929, share, "share with 20 mΩ")
	d.at(1553, 470*share*470*share*20e-3, "power")
	window, err := d.s.folder.Vehicle.DerivedValue("packs.left.share")
	require.NoError(t, err)
	d.at(0.5684, window.Lo, "window")
	d.at(0.7493, window.Hi, "window")

	d.says("79 days past its calibration, so no bonding reading is even begun with it: lowohm-1: its calibration held until 2026-12-31; the reading is of 2027-03-20 and cannot count",
		"low_ohm_meter lowohm-1 CANNOT COUNT", "Equipotential bonding (bonding, stage A): REFUSED")
	assert.Equal(t, 79*24*time.Hour, time.Date(2027, 3, 20, 0, 0, 0, 0, time.UTC).Sub(time.Date(2026, 12, 31, 0, 0, 0, 0, time.UTC)))
	for _, m := range d.s.history.Runs() {
		if m.Plan().Procedure == "bonding" {
			assert.Equal(t, "lowohm-2", m.Start().Instruments["low_ohm_meter"])
			_, a := d.step(m, "seat.resistance")
			assert.InDelta(t, 17.9e-3, a.Value, 1e-9)
		}
	}
	assert.InDelta(t, 0.0197, (0.05-0.03)/1.015, 5e-5, "what lowohm-1 could show at most for the seat's 0.05 Ω: 0.01 Ω")

	d.says("Emergency-off outside_right leaves left_minus closed and right_minus closed", "641.2 mΩ ± 3.8 mΩ to the plus coils and 554.6 mΩ ± 3.3 mΩ to the minus coils, less by just this device's contact and wire")
	matrix := d.run("shutdown_cold", 0)
	cells, closed := 0, []string{}
	for _, s := range matrix.Steps() {
		if strings.HasSuffix(s.Step.Path, ".opens") {
			cells++
			if s.Last().Decision != run.Pass {
				closed = append(closed, s.Step.Path)
			}
		}
	}
	assert.Equal(t, 8*4, cells)
	assert.Equal(t, []string{"outside_right.left_minus.opens", "outside_right.right_minus.opens"}, closed)
	_, plus := d.step(matrix, "left_plus.chain")
	_, minus := d.step(matrix, "left_minus.chain")
	assert.InDelta(t, 50e-3+36.7e-3, plus.Value-minus.Value, 1e-3, "contact and wire of outside_right")

	d.says("timed by thumb, 0.19 s where 250 ms is the most, is a conditional pass and proves nothing: a stopwatch leaves 40 ms, and 60 ms is expected of these coils",
		"timer watch-1", "only readings of at most 40 ms pass")
	_, a = d.step(d.run("contactor_function", 0), "left_plus.release_time")
	assert.Equal(t, run.ConditionalPass, a.Decision)
	watch := d.s.folder.Instruments[slices.IndexFunc(d.s.folder.Instruments, func(i measure.Instrument) bool { return i.ID == "watch-1" })].Functions[0]
	assert.InDelta(t, 0.21, watch.Ranges[0].Fixed, 1e-12)
	assert.Less(t, 0.250-0.21, 12e-3*5, "least the watch decides, and 12 ms suppressed by a factor of 5")
	assert.InDelta(t, 4.79, 5-watch.Ranges[0].Fixed, 1e-9, "the same watch can decide 5 s")
	_, a = d.step(d.run("contactor_function", 1), "left_plus.release_time")
	assert.Equal(t, run.Pass, a.Decision)

	d.says("The pre-charge resistor is 33 Ω and not 68 Ω: tau 34.81 ms", "59.30 ms to 80.11 ms, although the link reaches 95 %",
		"but at low energy it was right: tau 1.741 s ± 2.8 ms, implied_capacitance 1.046 mF ± 57 µF. That leaves 33.3 Ω", "made for 10 A, would close onto 12.86 A",
		"resistor is 31 Ω to 37.9 Ω instead of 64.6 Ω to 71.4 Ω (33 Ω is the nearest value that is sold)",
		"capacitance is 487 µF to 539 µF instead of 918 µF to 1.12 mF")
	s, a := d.step(d.run("precharge", 0), "alone.tau")
	assert.Equal(t, run.Fail, a.Decision)
	i := slices.IndexFunc(s.Bounds, func(b plan.Bound) bool { return b.Dim == quantity.Second })
	require.GreaterOrEqual(t, i, 0)
	d.at(59.30e-3, s.Bounds[i].Low, "window of tau")
	d.at(80.11e-3, s.Bounds[i].High, "window of tau")
	d.at(1.046e-3, 1.741/(1800*22000/(1800+22000.0)), "tau of the discharge by both resistors")
	d.at(33.26, 34.8e-3/1.0463e-3, "tau/C")
	d.at(12.86, 403.2/(0.95*33), "full charge through the smallest 33 Ω")
	_, a = d.step(d.run("precharge", 1), "alone.tau")
	assert.Equal(t, run.Pass, a.Decision)
}

// leak is the fault that no single reading fails on.
func (d *tour) leak() {
	t := d.T
	d.says("Every part passes, and so does the whole: 412.1 kΩ ± 7.5 kΩ, where 201.6 kΩ is the least. Yet whole and parts do not agree: the positive pole of the whole shows",
		"an unseen path of ", "isolation.parts does not have them: cables", "And a part falls while it passes: isolation_pack, left.isolation: 1.7 MΩ, from 66.01 MΩ at the baseline",
		"BASELINE", "WORK HV cable from junction to drive replaced", "VEHICLE FILE revision 3: the HV cables are a part whose isolation is measured")
	value := func(procedure string, n int, path string, want, within float64) {
		t.Helper()
		_, a := d.step(d.run(procedure, n), path)
		assert.Equal(t, run.Pass, a.Decision, path)
		assert.InEpsilon(t, want, a.Value, within, path)
	}
	value("isolation_pack", 0, "left.isolation", 66.0e6, 1e-3)
	value("isolation_pack", 0, "right.isolation", 820e6, 0.01) // ± its digits
	value("isolation_pack", 1, "left.isolation", 1.700e6, 1e-3)
	value("isolation_parts", 0, "drive.isolation", 12.4e6, 1e-9)
	value("isolation_parts", 0, "dcdc.isolation", 48.0e6, 1e-9)
	value("isolation_parts", 0, "inlet.isolation", 220.4e6, 1e-9)
	value("isolation_whole", 0, "whole.isolation", 0.4118e6, 1e-3)
	value("isolation_pack", 2, "left.isolation", 66.0e6, 1e-3)
	value("isolation_parts", 1, "cables.isolation", 310e6, 1e-9)
	value("isolation_whole", 1, "whole.isolation", 14.41e6, 1e-3)
	value("all_packs_again", 0, "whole.isolation", 14.41e6, 1e-3)
	assert.Equal(t, "", strings.Join(d.s.leaks(d.s.folder), "; "), "after the cure whole and parts agree")

	// Ranges by the readings alone, for any split of the joined parts; the
	// meters' uncertainty widens them.
	_, a := d.step(d.run("isolation_whole", 0), "whole.isolation")
	require.NotEmpty(t, a.Findings)
	found := regexp.MustCompile(`let one expect (\S+) MΩ or more: an unseen path of (\S+) kΩ to (\S+) kΩ`).FindStringSubmatch(a.Findings[0])
	require.NotNil(t, found, a.Findings[0])
	for i, c := range []struct{ want, slack float64 }{{1.438, -0.05}, {544, -30}, {577, 30}} {
		var got float64
		_, err := fmt.Sscan(found[i+1], &got)
		require.NoError(t, err)
		assert.InDelta(t, c.want+c.slack/2, got, math.Abs(c.slack)/2, "%s: wider than %g, and by no more than the meters", found[0], c.want)
	}
	assert.Contains(t, a.Findings[0], "positive pole")
	assert.Contains(t, a.Findings[1], "cables")
	w, ok := readiness.WholeFromParts(d.s.facts(), isolated(d.s.folder))
	require.True(t, ok)
	lo, hi := w.PredictedRange()
	assert.True(t, 7.6e6 < lo && lo <= 8.25e6 && 60.5e6 <= hi && hi < 66e6, "8.2 to 61 MΩ, wider by the meters: %g to %g", lo, hi)
	assert.Empty(t, readiness.OpenItems(d.s.facts()))
}

// retest: the last pass runs what the retest plan asks for. At the beginning of every
// run after the last work, the plan of that moment names its procedure first,
// with exactly its items; and what it does not name is not run.
func (d *tour) retest() {
	t := d.T
	works := d.s.record.Works()
	last := works[len(works)-1].Index
	require.Contains(t, works[len(works)-1].Text, "HV cable")

	history := run.NewHistory(func(b [32]byte) ([]byte, error) { return d.s.book.Blob(d.s.ctx, b) })
	record := readiness.NewRecord()
	facts := readiness.Log{Runs: history, Record: record, Shop: d.s.facts().Shop}
	history.Beyond = d.s.history.Beyond
	runs, stood := 0, map[string]bool{}
	require.NoError(t, ledger.Read(d.s.ctx, d.s.book, d.s.origin, 0, d.s.entries, func(index int64, e entry.Entry, signer string, raw []byte) error {
		if e.Kind == entry.RunStart && index > last {
			steps, blocked := readiness.RetestPlan(readiness.Proofs(facts, d.s.folder.Requirements(true), e.Time))
			require.Empty(t, blocked)
			require.NotEmpty(t, steps, "entry %d: nothing is owed, and yet there is a run", index)
			if runs == 0 {
				for _, p := range readiness.Proofs(facts, d.s.folder.Requirements(true), e.Time) {
					stood[p.Proof] = p.OK()
				}
			}
			m := d.s.history.Run(run.ID(e.Origin, index))
			require.NotNil(t, m)
			assert.Equal(t, steps[0].Plan.Procedure, m.Plan().Procedure)
			assert.Equal(t, steps[0].Plan.Retest, m.Plan().Retest, m.Plan().Procedure)
			runs++
		}
		record.Apply(e, ledger.Leaf(raw), signer)
		return history.Apply(e, ledger.Leaf(raw), signer)
	}))
	assert.Greater(t, runs, 15)
	// What the work left standing is not done again: neither pack nor cable is
	// in the pyrotechnic circuit, in a coil's supply or in the drawing.
	for _, p := range []string{"contactor_function", "pyro_circuit"} {
		assert.True(t, stood[p], p)
	}
	// One pack was opened, and another part made every part's limit stricter:
	// of the pack voltages only the left one is owed, of the isolation both.
	assert.Equal(t, []string{"left"}, d.run("pack_voltages", 1).Plan().Retest)
	assert.Empty(t, d.run("isolation_pack", 2).Plan().Retest)
	for _, p := range readiness.Proofs(d.s.facts(), d.s.folder.Requirements(true), d.s.now()) {
		assert.True(t, p.OK() || !p.Required, p.Proof)
	}
}
