package audit

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// TestRemarksOnPlans changes one thing of the plan after the first run, and
// expects the remarks on exactly that, on the second run.
func TestRemarksOnPlans(t *testing.T) {
	bound := func(p *plan.Plan) *plan.Bound { return &p.Steps[1].Bounds[0] }
	tests := []struct {
		name, codes, says string
		change            func(*plan.Plan)
	}{
		{"a limit moved the easy way", "input-changed looser-bound",
			"left.poles: pack_voltage of workshop (at least 288 V) is at least 150 V now, since packs.left.cells.series was 96 and is 50",
			func(p *plan.Plan) {
				bound(p).Low = 150
				bound(p).Inputs = []plan.Input{{Name: "packs.left.cells.series", Lo: 50, Hi: 50, Dim: quantity.One}}
			}},
		{"a limit of another kind", "looser-bound", "is at most 600 V now", func(p *plan.Plan) {
			bound(p).Bound = quantity.Bound{Kind: quantity.AtMost, High: 600, Dim: quantity.Volt}
		}},
		{"a limit gone", "bound-gone", "pack_voltage of workshop (at least 288 V) is no longer asked for", func(p *plan.Plan) {
			p.Steps[1].Bounds = p.Steps[1].Bounds[1:]
		}},
		{"a limit that governs no more", "looser-bound", "no longer governs, and nothing as strict does", func(p *plan.Plan) {
			loose := *bound(p)
			loose.Rules, loose.Low = "other", 100
			bound(p).Governs = false
			p.Steps[1].Bounds = append(p.Steps[1].Bounds, loose)
		}},
		{"a rule set dropped", "rule-set-dropped", "no limit of workshop is asked for any more; it had pack_voltage", func(p *plan.Plan) {
			p.Steps[1].Bounds[0].Rules, p.Steps[2].Bounds[0].Rules = "other", "other"
		}},
		{"guard band off", "guard-band-off", "was decided by guard_band, and is by simple_acceptance", func(p *plan.Plan) { bound(p).Rule = measure.SimpleAcceptance }},
		{"a window wider", "wider-tolerance wider-window", "left.poles (expected 280 V to 403.2 V) is expected 250 V to 403.2 V now, since", func(p *plan.Plan) {
			b := &p.Steps[1].Bounds[1]
			b.Low = 250
			b.Inputs = []plan.Input{{Name: "packs.left.cells.max", Lo: 4, Hi: 4.3, Dim: quantity.Volt}}
		}},
		{"a tolerance wider", "wider-tolerance", "packs.left.cells.max was 4.1 V to 4.2 V and is 4.0", func(p *plan.Plan) {
			p.Steps[1].Bounds[1].Inputs = []plan.Input{{Name: "packs.left.cells.max", Lo: 4.05, Hi: 4.2, Dim: quantity.Volt}}
		}},
		{"a formula", "formula-changed", "was computed as packs.left.min_voltage, and is as 288 V", func(p *plan.Plan) { bound(p).Formula = "288 V" }},
		{"a stimulus", "looser-method", "allows a higher test current", func(p *plan.Plan) {
			bound(p).MaxTestCurrent = 0
		}},
		{"the car's voltage", "input-changed", "highest voltage was 403.2 V and is 60 V", func(p *plan.Plan) { p.CarVoltage = 60 }},
		{"if_failed", "softened-step", "if_failed was make_safe and is stop", func(p *plan.Plan) { p.Steps[1].IfFailed = plan.Stop }},
		{"conditional pass", "softened-step", "left.poles: a conditional pass is accepted now", func(p *plan.Plan) { p.Steps[1].ConditionalPass = true }},
		{"unfit meter", "softened-step", "unfit_meter was refuse and is mark", func(p *plan.Plan) { p.Steps[1].UnfitMeter = plan.MarkMeter }},
		{"expect", "softened-step", "expect was on and is nothing", func(p *plan.Plan) { p.Steps[0].Expect = "" }},
		{"witness", "witness-removed", "right.poles no longer needs a witness", func(p *plan.Plan) { p.Steps[2].Witness = false }},
		{"state", "state-dropped", "left.poles no longer asks that packs is in", func(p *plan.Plan) { p.Steps[1].State = nil }},
		{"kind", "bound-gone softened-step state-dropped step-changed", "left.poles was measure in V, and is confirm", func(p *plan.Plan) {
			p.Steps[1] = plan.Step{Path: "left.poles", Kind: plan.Confirm, Text: "Looks right?", IfFailed: plan.Stop, Expect: "on", Choices: []string{"on"}}
		}},
		{"a step gone", "step-deleted", "covers (observe) is gone", func(p *plan.Plan) {
			p.Steps, p.SignOut = p.Steps[1:], 2
		}},
		{"a step that does not apply", "step-deleted", "covers no longer applies because has(covers) = false", func(p *plan.Plan) {
			p.Steps[0].NotApplicable = "has(covers) = false"
		}},
		{"a pack gone", "items-deleted proof-narrowed", "right is gone, with 1 step", func(p *plan.Plan) {
			p.Steps, p.SignOut = p.Steps[:2], 2
			p.Proves[0].Parts = []string{"packs.left"}
		}},
		{"people", "fewer-people", "2 people were needed, and 1 are now", func(p *plan.Plan) { p.People = 1 }},
		{"holds longer", "holds-longer", "held for 30 days, and holds for 400 days now", func(p *plan.Plan) { p.Proves[0].HoldsDays = 400 }},
		{"holds for ever", "holds-longer", "holds for ever until work on a part now", func(p *plan.Plan) { p.Proves[0].HoldsDays = 0 }},
		{"prerequisite", "prerequisite-dropped", "isolation_parts", func(p *plan.Plan) { p.Prerequisites = nil }},
		{"protective equipment", "precaution-dropped", `the protective equipment "gloves"`, func(p *plan.Plan) { p.Protective = nil }},
		{"make safe", "precaution-dropped", `"Press the emergency-off."`, func(p *plan.Plan) { p.MakeSafe = nil }},
		{"files", "file-not-shipped", "changed from what was shipped: procedures/pack_voltages.yaml", func(p *plan.Plan) { p.Files[1].Origin = plan.Changed }},
		{"own files", "file-not-shipped", "the shop's own: procedures/own.yaml", func(p *plan.Plan) {
			p.Files = append(p.Files, plan.File{Name: "procedures/own.yaml", Origin: plan.Own, Digest: digestOf("procedures/own.yaml")})
		}},
		{"stricter", "", "", func(p *plan.Plan) {
			bound(p).Low = 300
			p.People, p.Proves[0].HoldsDays, p.Steps[2].IfFailed = 2, 10, plan.MakeSafeStop
		}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := newBench(t)
			first := small()
			first.Steps[1].Bounds[0].MaxTestCurrent = 0.01
			changed := small()
			changed.Steps[1].Bounds[0].MaxTestCurrent = 0.01
			test.change(changed)
			b.passedAs(first)
			at := b.log.Size()
			b.passedAs(changed)
			remarks := b.remarks()
			assert.Equal(t, strings.Fields(test.codes), codes(remarks), "%v", remarks)
			for _, r := range remarks {
				assert.Equal(t, at, r.Entry, "on the second run: %v", r)
			}
			if test.says != "" {
				assert.Contains(t, all(remarks), test.says)
			}
		})
	}
}

func all(remarks []Remark) string {
	var lines []string
	for _, r := range remarks {
		lines = append(lines, r.Sentence)
	}
	return strings.Join(lines, "\n")
}

// passedAs runs a plan as good answers do, without asking for a pass.
func (b *bench) passedAs(p *plan.Plan) {
	b.t.Helper()
	g := good()
	if i, ok := p.Step("left.poles"); ok && p.Steps[i].Kind == plan.Confirm {
		g["left.poles"] = read("on")
	}
	m := b.begin(p, meter())
	require.NotNil(b.t, m)
	b.drive(m, g)
	require.NotEqual(b.t, run.Open, m.Outcome())
}

func TestRemarksOnMeters(t *testing.T) {
	tests := []struct {
		name, codes, says string
		change            func(*measure.Instrument)
	}{
		{"a better meter", "better-meter meter-replaced", "dc_voltage of meter-1 claims ± 228.8 mV at 288 V, and meter-1 claimed ± 1.64 V", func(in *measure.Instrument) {
			in.Serial = "S-2"
			in.Functions[0].Ranges[0].PercentOfReading, in.Functions[0].Ranges[0].Digits = 0.0001, 2
		}},
		{"the same one, better", "better-meter meter-edited", "are not those of run", func(in *measure.Instrument) { in.Functions[0].Ranges[0].Digits = 1 }},
		{"a higher category", "meter-edited", "are not those of run", func(in *measure.Instrument) { in.Category = "CAT IV" }},
		{"dates edited", "calibration-edited", "is calibrated on 2026-06-30 until 2028-06-30; run k3f9-5 on 2027-03-20 had on 2026-06-30 until 2027-06-30",
			func(in *measure.Instrument) { in.CalibratedUntil = "2028-06-30" }},
		{"dated back", "calibration-edited", "is calibrated on 2027-01-01", func(in *measure.Instrument) {
			in.CalibratedOn, in.CalibratedUntil = "2027-01-01", "2028-01-01"
		}},
		{"calibrated to-day", "", "", func(in *measure.Instrument) {
			in.CalibratedOn, in.CalibratedUntil = "2027-03-20", "2028-03-20"
		}},
		{"another serial number", "meter-replaced", "has the serial number S-2, and had S-1", func(in *measure.Instrument) { in.Serial = "S-2" }},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := newBench(t)
			b.passed(small(), meter())
			in := meter()
			test.change(&in)
			b.passed(small(), in)
			remarks := b.remarks()
			assert.Equal(t, strings.Fields(test.codes), codes(remarks), "%v", remarks)
			assert.Contains(t, all(remarks), test.says)
		})
	}
}

func TestLapsedCalibration(t *testing.T) {
	b := newBench(t)
	in := meter()
	in.CalibratedUntil = "2027-03-19"
	b.drive(b.begin(small(), in), good())
	remarks := b.remarks()
	assert.Contains(t, sentence(t, remarks, "calibration-lapsed"), "left.poles: read on 2027-03-20 with meter-1, whose calibration ended on 2027-03-19")
	assert.Contains(t, sentence(t, remarks, "not-refused"), "should not have begun")
}

func TestCalibratedTomorrow(t *testing.T) {
	b := newBench(t)
	in := meter()
	in.CalibratedOn, in.CalibratedUntil = "2027-03-21", "2028-03-21"
	b.drive(b.begin(small(), in), good())
	assert.Contains(t, sentence(t, b.remarks(), "calibration-ahead"), "said to have been calibrated on 2027-03-21, after the run")
}

// TestBaseline: after a baseline entry, runs are held against the run that it
// names, and what was looser before stays a remark.
func TestBaseline(t *testing.T) {
	b := newBench(t)
	b.passed(small(), meter())
	loose := small()
	loose.People = 1
	commissioning := b.passed(loose, meter())
	e := b.add(body(entry.Baseline, nil, "", "run 1", commissioning.ID()), ledgertest.Mills)
	b.countersign(e)
	b.passed(loose, meter())
	remarks := b.remarks()
	require.Len(t, remarks, 1)
	assert.Equal(t, "fewer-people", remarks[0].Code)
	assert.Equal(t, commissioning.Index(), remarks[0].Entry)
}

// TestRehearsalIsNoBaseline: what proves nothing is nothing to compare with.
func TestRehearsalIsNoBaseline(t *testing.T) {
	b := newBench(t)
	strict := small()
	strict.People = 3
	m := b.begin(strict, meter(), func(s *run.Start) { s.Rehearsal, s.Others = true, []string{ledgertest.Vance} })
	b.drive(m, good())
	b.passed(small(), meter())
	b.countersign(b.add(body(entry.Baseline, nil, "", "run 1", m.ID()), ledgertest.Mills))
	assert.Equal(t, []string{"baseline-unknown-run", "rehearsal"}, codes(b.remarks()))
}
