package run

import (
	"bytes"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// ramp is a pre-charge as a recorder writes it: τ in s, closed at closeAt.
func ramp(tau, closeAt float64) []byte {
	var b bytes.Buffer
	b.WriteString("Time (s),link (V),pack (V)\n")
	for i := range 3201 {
		t := -0.01 + 1e-4*float64(i)
		v := 362.4
		if t < closeAt {
			v *= -math.Expm1(-math.Max(0, t) / tau)
		}
		wobble := 0.3 * math.Sin(float64(i)*1.7) // stands for noise
		fmt.Fprintf(&b, "%.4f,%.2f,%.2f\n", t, v+wobble, 362.4-wobble)
	}
	return b.Bytes()
}

func captureStart() Start {
	bound := func(name string, b quantity.Bound) plan.Bound {
		return plan.Bound{ID: "ramp." + name, Feature: name, Bound: b, Formula: "f", Substituted: "f", Exactness: "exact", Governs: true}
	}
	value := func(name string, lo, nominal, hi float64, d quantity.Dim) plan.Arg {
		return plan.Arg{Name: name, Lo: lo, Nominal: nominal, Hi: hi, Dim: d, Formula: name, Substituted: name, Exactness: "exact"}
	}
	p := &plan.Plan{Car: "Testbed", Procedure: "ramp", Title: "Ramp", Stage: "C", Practice: true, People: 1, CarVoltage: 403.2,
		Steps: []plan.Step{{Path: "ramp", Kind: plan.Capture, Text: "Record it.", Function: "precharge", Role: "scope", IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter,
			From: []plan.Arg{
				value("precharge.tau", 0.0593, 0.06936, 0.08011, quantity.Second), value("precharge.resistance", 64.6, 68, 71.4, quantity.Ohm),
				value("dc_link.capacitance", 0.918e-3, 1.02e-3, 1.122e-3, quantity.Farad),
			},
			Bounds: []plan.Bound{
				bound("tau", quantity.Bound{Kind: quantity.Expected, Low: 0.0593, High: 0.08011, Dim: quantity.Second}),
				bound("fraction_at_close", quantity.Bound{Kind: quantity.AtLeast, Low: 0.95, Dim: quantity.One}),
			}}},
		SignOut: 1}
	s := testStart(p)
	s.Meters = append(s.Meters, measure.Instrument{ID: "scope-1", Kind: "scope", Category: "CAT III", MaxVoltage: 1000, CalibratedUntil: "2027-06-30", Roles: []string{"scope"},
		Functions: []measure.Function{{Name: "voltage", Dim: quantity.Volt, Ranges: []measure.MeterRange{{To: 500, Digit: 2, PercentOfRange: 0.03}}}}})
	s.Instruments["scope"] = "scope-1"
	return s
}

func TestCaptureStep(t *testing.T) {
	for _, c := range []struct {
		name     string
		text     string
		file     []byte
		decision string
		finding  string
	}{
		{"healthy", "captures/ramp.csv", ramp(0.0709, 0.25), Pass, ""},
		{"columns named", "captures/ramp.csv; dc_link=link; pack=pack", ramp(0.0709, 0.25), Pass, ""},
		{"wrong resistor", "captures/ramp.csv", ramp(0.0348, 0.107), Fail, "tau: outside what this car's data expect"},
		{"closed early", "captures/ramp.csv", ramp(0.0709, 0.1), Fail, "closed-early"},
		{"never closed in the recording", "captures/ramp.csv", ramp(0.0709, 9), CannotDecide, "fraction_at_close cannot be told"},
		{"by eye", "by eye: tau 70 ms ±5 ms; fraction_at_close 0.98 ±0.01", nil, Pass, ""},
		{"by eye, not all of it", "by eye: tau 70 ms ±20 ms", nil, CannotDecide, "fraction_at_close cannot be told"},
		{"by eye, within one division of the limit", "by eye: tau 70 ms ±5 ms; fraction_at_close 0.96 ±0.02", nil, ConditionalPass, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t, captureStart())
			require.Empty(t, b.m.start.Refusals())
			require.NoError(t, b.give("ramp", Answer{Text: c.text, File: c.file}))
			s := b.m.Steps()[0]
			require.Len(t, s.Attempts, 1)
			assert.Equal(t, c.decision, s.Decision, "%v", s.Last().Findings)
			if c.finding != "" {
				assert.Contains(t, fmt.Sprint(s.Last().Findings), c.finding)
			}
			if c.file != nil {
				require.NotEmpty(t, s.Last().Features(s.Step))
				assert.Len(t, s.Last().Body.Text("file"), 64)
			}
		})
	}
}

func TestCaptureStepRefuses(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"captures/ramp.csv", "captures/ramp.csv was not read"},
		{"by eye: tau 70 ms", "the division is missing"},
		{"by eye: tau 70 V ±1 V", "tau: 70 V ±1 V is not in s"},
		{"by eye: taux 70 ms ±1 ms", `"taux" is not a number`},
	} {
		b := newBench(t, captureStart())
		err := b.give("ramp", Answer{Text: c.text})
		var refused *Refused
		require.ErrorAs(t, err, &refused, c.text)
		assert.Contains(t, refused.Message, c.want)
	}
	for _, c := range []struct {
		text string
		file string
		want string
	}{
		{"a.csv", "Time (s),link (V)\n", ""},
		{"a.csv; dc_link=CH7", string(ramp(0.07, 0.25)), `no column "CH7"`},
		{"a.csv; decimal=semicolon", string(ramp(0.07, 0.25)), "not to be understood"},
		{"a.csv; dc_link", string(ramp(0.07, 0.25)), "is not NAME=VALUE"},
	} {
		b := newBench(t, captureStart())
		err := b.give("ramp", Answer{Text: c.text, File: []byte(c.file)})
		var refused *Refused
		require.ErrorAs(t, err, &refused, c.text)
		assert.Contains(t, refused.Message, c.want)
	}
}

// A record that claims more than its own numbers give is refused.
func TestCaptureIsJudgedAgain(t *testing.T) {
	b := newBench(t, captureStart())
	bodies, err := b.m.Answer(b.m.Next(), Answer{Text: "r.csv", File: ramp(0.0348, 0.107), At: b.now})
	require.NoError(t, err)
	body := bodies[0]
	for i := range body.Fields {
		if body.Fields[i].Name == "decision" {
			require.Equal(t, Fail, body.Fields[i].Value)
			body.Fields[i].Value = Pass
		}
	}
	e := entry.Entry{Header: entry.Header{Origin: "hvproof/testbed/aaaaaaaa/bbbbbbbb/practice", Index: 8, Time: b.now, Zone: "+00:00", Boot: "b", Version: "hvproof test"}, Body: body}
	assert.ErrorContains(t, b.m.Apply(e, [32]byte{1}, "op"), "its own numbers give fail")
}

// sharingStart has the currents of two packs, each by a clamp of its own:
// 2 % of 300 A for one, 10 % for the other.
func sharingStart(second string) Start {
	clamp := func(id, until string, gain float64) measure.Instrument {
		return measure.Instrument{ID: id, Kind: "clamp", Category: "CAT III", MaxVoltage: 600, CalibratedUntil: until, Roles: []string{"clamp", "second_clamp"},
			Functions: []measure.Function{{Name: "dc_current", Dim: quantity.Ampere, Ranges: []measure.MeterRange{{To: 600, PercentOfReading: gain}}}}}
	}
	p := &plan.Plan{Car: "Testbed", Procedure: "sharing", Title: "Sharing", Stage: "D", Practice: true, People: 1, CarVoltage: 403.2,
		Steps: []plan.Step{{Path: "share", Kind: plan.Capture, Text: "Record it.", Function: "sharing", Role: "clamp", IfFailed: plan.Stop, UnfitMeter: plan.MarkMeter,
			Recorders: []plan.Recorder{{Channel: "current.right", Role: "second_clamp"}},
			Bounds: []plan.Bound{{ID: "share.left", Feature: "share.left", Governs: true, Formula: "f", Substituted: "f", Exactness: "exact",
				Bound: quantity.Bound{Kind: quantity.Between, Low: 0.5684, High: 0.7493, Dim: quantity.One}}}}},
		SignOut: 1}
	s := testStart(p)
	s.Meters = append(s.Meters, clamp("clamp-1", "2027-06-30", 0.02), clamp("clamp-2", "2027-06-30", 0.10), clamp("clamp-old", "2026-12-31", 0.02))
	s.Instruments["clamp"], s.Instruments["second_clamp"] = "clamp-1", second
	return s
}

// Each channel has the accuracy of what recorded it. The demo car's packs share
// 199.1 to 100.9 A (the project's table). The share L/(L+R) moves by R/(L+R)²
// for an ampere of L and by −L/(L+R)² for one of R, and both are hard bounds.
func TestRecordersOfACapture(t *testing.T) {
	var file bytes.Buffer
	file.WriteString("Time (s),left (A),right (A)\n")
	for i := range 400 {
		wobble := 0.05 * math.Sin(float64(i)*1.7)
		fmt.Fprintf(&file, "%.1f,%.3f,%.3f\n", 0.1*float64(i), 199.1+wobble, 100.9-wobble)
	}
	for _, c := range []struct {
		second   string
		gain     float64
		decision string
	}{{"clamp-1", 0.02, Pass}, {"clamp-2", 0.10, Pass}, {"clamp-old", 0.02, CannotDecide}} {
		b := newBench(t, sharingStart(c.second))
		require.Equal(t, []string{"clamp", "second_clamp"}, Roles(b.m.plan))
		require.NoError(t, b.give("share", Answer{Text: "captures/load.csv; current.left=left; current.right=right", File: file.Bytes()}))
		a := b.m.Steps()[0].Last()
		assert.Equal(t, c.decision, a.Decision, "%s: %v", c.second, a.Findings)
		assert.Equal(t, []string{"current.right " + c.second}, a.Body.Family("recorder"))
		for _, f := range a.Features(&b.m.plan.Steps[0]) {
			if f.Name == "share.left" {
				assert.InDelta(t, 0.6637, f.Value, 1e-4)
				by := math.Hypot(0.02*199.1*100.9, c.gain*100.9*199.1) / (300 * 300)
				assert.InEpsilon(t, math.Min(2/math.Sqrt(3)*by, (0.02+c.gain)*199.1*100.9/(300*300)), f.U, 0.02, c.second)
			}
		}
		start := b.m.Start()
		assert.Equal(t, c.second == "clamp-old", len(start.MeterRefusals("second_clamp")) > 0, c.second)
		assert.Empty(t, start.MeterRefusals("clamp"))
	}
}

// The same file for two steps is asked back, unless it shows every pack.
func TestSameRecordingTwice(t *testing.T) {
	s := captureStart()
	again := s.Plan.Steps[0]
	again.Path = "again"
	s.Plan.Steps = append(s.Plan.Steps, again)
	s.Plan.SignOut = 2
	b := newBench(t, s)
	file := ramp(0.0709, 0.25)
	require.NoError(t, b.give("ramp", Answer{Text: "a.csv", File: file}))
	err := b.give("again", Answer{Text: "b.csv", File: file})
	var back *AskBack
	require.ErrorAs(t, err, &back)
	assert.Contains(t, back.Questions[0], "This is the recording of ramp")
	require.NoError(t, b.give("again", Answer{Text: "b.csv", File: file, Confirm: true}))
	assert.Equal(t, "asked back and confirmed", b.m.Steps()[1].Last().Body.Text("confirmed"))
}
