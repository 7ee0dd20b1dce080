package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestCanDecide(t *testing.T) {
	stopwatch, V, S := watch().Functions[0], quantity.Volt, quantity.Second
	inf := math.Inf(1)
	expect := func(low, high float64, dim quantity.Dim) *quantity.Bound {
		b := bound(quantity.Expected, low, high, dim)
		return &b
	}
	release, discharge := bound(quantity.AtMost, 0, 0.25, S), bound(quantity.AtMost, 0, 5, S)
	for _, c := range []struct {
		name              string
		f                 Function
		b                 quantity.Bound
		e                 *quantity.Bound
		rule              Rule
		decides, hopeless bool
		from, to          float64
		why, needed       string
	}{
		// Demo car: U 0.21 s leaves 0.04 s, below the expected 0.060 s.
		{"stopwatch for the release", stopwatch, release, expect(0.060, 0.060, S), GuardBand, false, false, -inf, 0.04,
			"cannot decide: only readings of at most 40 ms pass, and expected 60 ms", "a meter with an uncertainty of at most 190 ms at 60 ms"},
		{"stopwatch for the release, nothing expected", stopwatch, release, nil, GuardBand, true, false, -inf, 0.04, "leaves little room: only readings of at most 40 ms pass", ""},
		// The same watch can decide 5 s: expected at most 3.734 s.
		{"stopwatch for the discharge", stopwatch, discharge, expect(2.7, 3.734, S), GuardBand, true, false, -inf, 4.79, "", ""},
		{"stopwatch, simple acceptance", stopwatch, release, expect(0.060, 0.060, S), SimpleAcceptance, true, false, -inf, 0.25, "", ""},
		{"stopwatch, hopeless", stopwatch, bound(quantity.AtMost, 0, 0.2, S), nil, GuardBand, false, true, math.NaN(), math.NaN(), "no reading of stopwatch can pass: at most 200 ms", "a meter with an uncertainty of at most 200 ms at 0 s"},
		{"hopeless and expected beyond", stopwatch, bound(quantity.AtMost, 0, 0.2, S), expect(0.3, 0.3, S), GuardBand, false, true, math.NaN(), math.NaN(), "no reading", "no meter could: what is expected does not meet the limit"},
		{"what is expected crosses the limit", stopwatch, discharge, expect(3, 6, S), GuardBand, true, false, -inf, 4.79, "reaches beyond the limit itself", ""},
		{"what is expected misses the limit", stopwatch, discharge, expect(6, 7, S), GuardBand, false, false, -inf, 4.79, "cannot decide", "no meter could"},
		{"dead", voltmeter().Functions[0], bound(quantity.MagnitudeAtMost, 0, 60, V), nil, GuardBand, true, false, -59.68, 59.68, "", ""},
		// A limit above the highest range: only the top proves something.
		{"above the meter", lowOhm().Functions[0], bound(quantity.AtLeast, 100, 0, quantity.Ohm), nil, GuardBand, false, true, math.NaN(), math.NaN(), "no reading", "shows more than 100 Ω"},
		{"isolation expected", insulation().Functions[0], bound(quantity.AtLeast, 201.6e3, 0, quantity.Ohm), expect(8.2e6, 61e6, quantity.Ohm), GuardBand, true, false, 213e3, inf, "", ""},
		// Two readings of 362 V cannot decide 1.0 V of difference by this
		// range; across the contactor the low range can.
		{"difference across the contactor", voltmeter().Functions[0], bound(quantity.MagnitudeAtMost, 0, 1, V), expect(-0.7, 0.7, V), GuardBand, true, false, -0.993, 0.993, "", ""},
		{"wrong dimension", stopwatch, bound(quantity.AtMost, 0, 1, V), nil, GuardBand, false, true, math.NaN(), math.NaN(), "the bound in V", ""},
		{"window of another quantity", stopwatch, release, expect(1, 2, V), GuardBand, false, true, math.NaN(), math.NaN(), "expected window", ""},
		{"a window", insulation().Functions[0], bound(quantity.Expected, 1e6, 2e6, quantity.Ohm), nil, GuardBand, true, false, 967e3, 2.067e6, "", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := CanDecide(c.f, c.b, c.e, c.rule)
			assert.Equal(t, c.decides, got.Decides)
			assert.Equal(t, c.hopeless, got.Hopeless)
			if c.hopeless {
				assert.True(t, math.IsNaN(got.AcceptFrom) && math.IsNaN(got.AcceptTo))
			} else {
				assert.Equal(t, c.from, got.AcceptFrom)
				assert.Equal(t, c.to, got.AcceptTo)
			}
			if c.why == "" {
				assert.Empty(t, got.Why)
			}
			assert.Contains(t, got.Why, c.why)
			if c.needed == "" {
				assert.Empty(t, got.Needed)
			}
			assert.Contains(t, got.Needed, c.needed)
		})
	}
}

func TestNeededU(t *testing.T) {
	e := bound(quantity.Expected, 0.06, 0.06, quantity.Second)
	c := CanDecide(watch().Functions[0], bound(quantity.AtMost, 0, 0.25, quantity.Second), &e, GuardBand)
	assert.InDelta(t, 0.19, c.NeededU, 1e-12)
	assert.Equal(t, 0.06, c.NeededAt)
}

// A U that jumps where the range changes leaves a gap: what is announced
// stays on one side of it.
func TestCanDecideOverAGap(t *testing.T) {
	f := Function{Name: "f", Dim: quantity.Ohm, Ranges: []MeterRange{
		{To: 10, Digit: 0.01, Fixed: 0.1},
		{To: 100, Digit: 0.1, Fixed: 5},
	}}
	c := CanDecide(f, bound(quantity.AtLeast, 8, 0, quantity.Ohm), nil, GuardBand)
	assert.Equal(t, 13.0, c.AcceptFrom)
	assert.True(t, math.IsInf(c.AcceptTo, 1))
	e := bound(quantity.Expected, 8.5, 9.5, quantity.Ohm)
	c = CanDecide(f, bound(quantity.AtLeast, 8, 0, quantity.Ohm), &e, GuardBand)
	assert.True(t, c.Decides)
	assert.Equal(t, 8.1, c.AcceptFrom)
	assert.Equal(t, 10.0, c.AcceptTo)
}

func drawFunction(t *rapid.T) Function {
	f := Function{Name: "f", Dim: rapid.SampledFrom([]quantity.Dim{quantity.Ohm, quantity.Volt}).Draw(t, "dim")}
	to, digit := 6.0, 0.001
	for range rapid.IntRange(1, 3).Draw(t, "ranges") {
		r := MeterRange{
			To: to, Digit: digit,
			PercentOfReading: float64(rapid.IntRange(0, 40).Draw(t, "percent")) / 100,
			Digits:           float64(rapid.IntRange(0, 50).Draw(t, "digits")),
			PercentOfRange:   float64(rapid.IntRange(0, 5).Draw(t, "of range")) / 100,
			Fixed:            digit,
		}
		if rapid.Bool().Draw(t, "from") {
			r.From = to / 20
		}
		f.Ranges = append(f.Ranges, r)
		to, digit = to*10, digit*10
	}
	return f
}

// drawShown draws something that the function can show, typed.
func drawShown(t *rapid.T, f Function) quantity.Reading {
	r := f.Ranges[rapid.IntRange(0, len(f.Ranges)-1).Draw(t, "range")]
	p := piece{digit: r.Digit}
	x := p.shown(float64(rapid.IntRange(0, int(math.Round(r.To/r.Digit))).Draw(t, "count")))
	if !neverNegative(f.Dim) && rapid.Bool().Draw(t, "negative") {
		x = -x
	}
	return quantity.Reading{SI: x, Dim: f.Dim, Digit: r.Digit}
}

func TestWhatIsAnnouncedPasses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := drawFunction(t)
		b := drawBound(t, f.Dim)
		rule := rapid.SampledFrom([]Rule{GuardBand, SimpleAcceptance}).Draw(t, "rule")
		c := CanDecide(f, b, nil, rule)
		r, _, err := f.Read(drawShown(t, f), nil)
		if err != nil {
			t.Fatal(err)
		}
		// A count of a coarse range that the next smaller range shows finer is
		// read on that one.
		v := Decide(r, b, rule).Verdict
		switch {
		case c.Hopeless && v == Pass:
			t.Fatalf("hopeless (%s), but %g passes %v", c.Why, r.Value, b)
		case !c.Hopeless && r.Value >= c.AcceptFrom && r.Value <= c.AcceptTo && v != Pass:
			t.Fatalf("%g is announced to pass %v (%g to %g), but: %s", r.Value, b, c.AcceptFrom, c.AcceptTo, v)
		}
	})
}
