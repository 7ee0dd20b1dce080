package run

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// releaseStart has one time step, its meter a scope of 50 ppm and 1 ms, or a
// stopwatch; the limit is 250 ms (Formula Student EV 6.1.5).
func releaseStart(meter string) Start {
	limit := plan.Bound{ID: "release", Bound: quantity.Bound{Kind: quantity.AtMost, High: 0.25, Dim: quantity.Second}, Formula: "f", Substituted: "f", Exactness: "exact", Governs: true}
	p := &plan.Plan{Car: "Testbed", Procedure: "release", Title: "Release", Stage: "A", Practice: true, People: 1,
		Steps: []plan.Step{{Path: "release", Kind: plan.Time, Text: "Time it.", Dim: quantity.Second, Role: "timer", IfFailed: plan.Stop,
			UnfitMeter: plan.RefuseMeter, Bounds: []plan.Bound{limit}}},
		SignOut: 1}
	s := testStart(p)
	s.Meters = append(s.Meters, measure.Instrument{ID: "scope-1", Kind: "scope", CalibratedUntil: "2027-06-30", Roles: []string{"scope", "timer"},
		Functions: []measure.Function{{Name: "time", Dim: quantity.Second, Ranges: []measure.MeterRange{{To: 0.2, Digit: 1e-4, PercentOfReading: 50e-6, Fixed: 1e-3}}}}})
	s.Instruments["timer"] = meter
	return s
}

// Two half-widths a and b, each a hard bound, make 2/√3·√(a²+b²), at most
// their sum (JCGM 100:2008, 4.3.7, with k = 2).
func TestDivision(t *testing.T) {
	for _, c := range []struct {
		answer   Answer
		decision string
		u, div   float64
	}{
		{Answer{Text: "31.2 ms at 10 ms/div"}, Pass, 11.001e-3, 10e-3}, // the sum governs: 1.00156 + 10 ms
		{Answer{Text: "31.2 ms", Division: "10 ms"}, Pass, 11.001e-3, 10e-3},
		{Answer{Text: "31.2 ms", Division: "10 ms/div"}, Pass, 11.001e-3, 10e-3},
		{Answer{Text: "199 ms at 100 ms/div"}, ConditionalPass, 101.01e-3, 100e-3},
	} {
		b := newBench(t, releaseStart("scope-1"))
		require.True(t, b.m.Next().OnScreen)
		require.NoError(t, b.give("release", c.answer))
		a := b.m.Steps()[0].Last()
		assert.Equal(t, c.decision, a.Decision, "%+v", c.answer)
		assert.InEpsilon(t, c.u, a.U, 1e-3)
		div, ok := a.Body.Number("division")
		assert.True(t, ok)
		assert.InDelta(t, c.div, div, 1e-12)
		assert.Contains(t, a.Body.Text("text"), "/div")
	}
}

func TestDivisionRefused(t *testing.T) {
	for _, c := range []struct{ meter, text, division, want string }{
		{"scope-1", "31.2 ms", "", "the division is missing"},
		{"scope-1", "31.2 ms at", "", "31.2 ms at"},
		{"scope-1", "31.2 ms at 10 V/div", "", `"10 V/div" is not a division in s`},
		{"scope-1", "31.2 ms at 0 ms/div", "", "is not a division"},
		{"scope-1", "31.2 ms at -1 ms/div", "", "is not a division"},
		{"scope-1", "31.2 ms at ten/div", "", "is not a division"},
		{"scope-1", "31.2 ms at 10 ms/div", "10 ms", "31.2 ms at 10 ms/div"},
		{"watch-1", "0.19 s at 10 ms/div", "", "shows digits, not divisions"},
	} {
		b := newBench(t, releaseStart(c.meter))
		err := b.give("release", Answer{Text: c.text, Division: c.division})
		var refused *Refused
		require.ErrorAs(t, err, &refused, c.text)
		assert.Contains(t, refused.Message, c.want)
		assert.Empty(t, b.m.Steps()[0].Attempts)
	}
	// 31 divisions are no screen.
	b := newBench(t, releaseStart("scope-1"))
	err := b.give("release", Answer{Text: "31.2 ms at 1 ms/div"})
	var back *AskBack
	require.ErrorAs(t, err, &back)
	assert.Contains(t, back.Questions[0], "31 divisions")
	// A stopwatch shows digits.
	b = newBench(t, releaseStart("watch-1"))
	require.False(t, b.m.Next().OnScreen)
	require.NoError(t, b.give("release", Answer{Text: "0.19 s"}))
	assert.Equal(t, ConditionalPass, b.m.Steps()[0].Decision)
}

// A record that leaves the division away claims more than an eye can see.
func TestDivisionIsAskedForAgain(t *testing.T) {
	b := newBench(t, releaseStart("scope-1"))
	bodies, err := b.m.Answer(b.m.Next(), Answer{Text: "31.2 ms at 10 ms/div", At: b.now})
	require.NoError(t, err)
	for i, f := range bodies[0].Fields {
		if f.Name == "text" {
			bodies[0].Fields[i].Value = "31.2 ms"
		}
	}
	_, err = b.m.decideAgain(entry.Entry{Body: bodies[0]}, &b.m.plan.Steps[0])
	assert.ErrorContains(t, err, "the division is missing")
}

// fallStart is a discharge whose time to 60 V is decided as at full charge.
func fallStart(meter string) Start {
	bound := func(name string) plan.Bound {
		return plan.Bound{ID: name, Feature: name, Governs: true, Formula: "f", Substituted: "f", Exactness: "exact",
			Bound: quantity.Bound{Kind: quantity.AtMost, High: 5, Dim: quantity.Second}}
	}
	value := func(name string, hi float64, d quantity.Dim) plan.Arg {
		return plan.Arg{Name: name, Lo: hi, Nominal: hi, Hi: hi, Dim: d, Formula: name, Substituted: name, Exactness: "exact"}
	}
	s := captureStart()
	st := &s.Plan.Steps[0]
	st.Path, st.Function = "fall", "discharge"
	st.From = []plan.Arg{value("system.max_voltage", 403.2, quantity.Volt), value("discharge.tau", 1.9601, quantity.Second)}
	st.Bounds = []plan.Bound{bound("time_to_60V"), bound("time_to_60V_worst")}
	s.Instruments["scope"] = meter
	return s
}

// By eye, a discharge passes only where voltage and time constant were read,
// too: the time of the day says nothing about full charge.
func TestFallByEye(t *testing.T) {
	for _, c := range []struct{ text, decision string }{
		{"by eye: time_to_60V 3.1 s at 0.5 s/div; start_voltage 362 V at 50 V/div; tau 1.7 s at 0.2 s/div", Pass},
		{"By eye: time_to_60V 3.1 s at 0.5 s/div", CannotDecide},
		{"by eye: time_to_60V 4.8 s at 0.5 s/div; start_voltage 362 V at 50 V/div; tau 2.3 s at 0.2 s/div", ConditionalFail},
		{"by eye: time_to_60V 5.6 s at 0.5 s/div; start_voltage 362 V at 50 V/div; tau 3 s at 0.2 s/div", Fail},
	} {
		b := newBench(t, fallStart("scope-1"))
		require.NoError(t, b.give("fall", Answer{Text: c.text}), c.text)
		assert.Equal(t, c.decision, b.decision("fall"), "%s: %v", c.text, b.m.Steps()[0].Last().Findings)
	}
}

// A stopwatch records nothing; what it shows counts with the thumb: 0.21 s.
func TestCaptureByHand(t *testing.T) {
	b := newBench(t, fallStart("watch-1"))
	b.m.plan.Steps[0].Bounds = b.m.plan.Steps[0].Bounds[:1]
	for text, want := range map[string]string{
		"captures/fall.csv":                       "records no waveform",
		"by eye: time_to_60V 3.1 s at 0.5 s/div":  "is a stopwatch",
		"by hand: time_to_60V 3.1 s at 0.5 s/div": "3.1 s at 0.5 s/div",
		"by hand: time_to_60V 3.1 V":              "3.1 V",
		"by hand: start_voltage 362 V":            "does not show V",
		"by hand: time_to_60 3.1 s":               "is not a number of a discharge capture",
	} {
		err := b.give("fall", Answer{Text: text, File: []byte("x")})
		var refused *Refused
		require.ErrorAs(t, err, &refused, text)
		assert.Contains(t, refused.Message, want)
	}
	require.NoError(t, b.give("fall", Answer{Text: "by hand: time_to_60V 3.11 s"}))
	assert.Equal(t, Pass, b.decision("fall"))
	b = newBench(t, fallStart("watch-1"))
	b.m.plan.Steps[0].Bounds = b.m.plan.Steps[0].Bounds[:1]
	require.NoError(t, b.give("fall", Answer{Text: "by hand: time_to_60V 4.9 s"}))
	assert.Equal(t, ConditionalPass, b.decision("fall"))
}
