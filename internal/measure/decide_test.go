package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestDecide(t *testing.T) {
	V, O, S := quantity.Volt, quantity.Ohm, quantity.Second
	dead := bound(quantity.MagnitudeAtMost, 0, 60, V)
	atLeast := bound(quantity.AtLeast, 1e9, 0, O)
	atMost := bound(quantity.AtMost, 0, 0.1, O)
	between := bound(quantity.Between, 10, 20, O)
	window := bound(quantity.Expected, 10, 20, O)
	for _, c := range []struct {
		name   string
		r      Reading
		b      quantity.Bound
		want   Verdict
		simple Verdict
	}{
		{"at the limit with U = 0, at least", Reading{Value: 1e9, Dim: O}, atLeast, Pass, Pass},
		{"at the limit with U = 0, at most", Reading{Value: 0.1, Dim: O}, atMost, Pass, Pass},
		{"at the limit with U", Reading{Value: 1e9, U: 1, Dim: O}, atLeast, ConditionalPass, Pass},
		{"just below", Reading{Value: math.Nextafter(1e9, 0), Dim: O}, atLeast, Fail, Fail},
		{"within U below", Reading{Value: 0.99e9, U: 0.02e9, Dim: O}, atLeast, ConditionalFail, Fail},
		{"dead and reversed", Reading{Value: -362.4, U: 2.012, Dim: V}, dead, Fail, Fail},
		{"dead", Reading{Value: -1.2, U: 0.008, Dim: V}, dead, Pass, Pass},
		{"nearly dead", Reading{Value: -59.9, U: 0.3, Dim: V}, dead, ConditionalPass, Pass},
		{"OL is not dead", Reading{Value: 600, U: 3.2, OverRange: true, Dim: V}, dead, Fail, Fail},
		{"OL on a low range is not dead", Reading{Value: 6, U: 0.03, OverRange: true, Dim: V}, dead, Fail, Fail},
		{"-OL is not dead", Reading{Value: -600, U: 3.2, OverRange: true, Side: quantity.Below, Dim: V}, dead, Fail, Fail},
		{"OL is not at most", Reading{Value: 6, U: 0.03, OverRange: true, Dim: V}, bound(quantity.AtMost, 0, 60, V), Fail, Fail},
		{"OL is not at least either", Reading{Value: 600, U: 3.2, OverRange: true, Dim: V}, bound(quantity.AtLeast, 300, 0, V), CannotDecide, CannotDecide},
		{"OL against two ends below it", Reading{Value: 600, U: 3.2, OverRange: true, Dim: V}, bound(quantity.Between, 288, 403.2, V), Fail, Fail},
		{"OL against two ends around it", Reading{Value: 60, U: 0.3, OverRange: true, Dim: V}, bound(quantity.Between, 288, 403.2, V), CannotDecide, CannotDecide},
		{"below some volts may be far below", Reading{Value: 0.1, Side: quantity.Below, Dim: V}, dead, CannotDecide, CannotDecide},
		{"above 2 GΩ, U counted", Reading{Value: 2e9, U: 0.1e9, Side: quantity.Above, Dim: O}, atLeast, Pass, Pass},
		{"above 1.05 GΩ, U counted", Reading{Value: 1.05e9, U: 0.1e9, Side: quantity.Above, Dim: O}, atLeast, ConditionalPass, Pass},
		{"above 0.4 GΩ", Reading{Value: 0.4e9, U: 1, Side: quantity.Above, Dim: O}, atLeast, CannotDecide, CannotDecide},
		{"above, at most", Reading{Value: 40, U: 0.6, Side: quantity.Above, OverRange: true, Dim: O}, atMost, Fail, Fail},
		{"above, at most, within U", Reading{Value: 0.11, U: 0.05, Side: quantity.Above, Dim: O}, atMost, ConditionalFail, Fail},
		{"above, at most, undecided", Reading{Value: 0.05, U: 0.01, Side: quantity.Above, Dim: O}, atMost, CannotDecide, CannotDecide},
		{"below, at most", Reading{Value: 0.01, U: 0.03, Side: quantity.Below, Dim: O}, atMost, Pass, Pass},
		{"below, at least", Reading{Value: 1e6, U: 1e4, Side: quantity.Below, Dim: O}, atLeast, Fail, Fail},
		{"below, at least, undecided", Reading{Value: 2e9, U: 1e4, Side: quantity.Below, Dim: O}, atLeast, CannotDecide, CannotDecide},
		{"between", Reading{Value: 15, U: 1, Dim: O}, between, Pass, Pass},
		{"between, near an end", Reading{Value: 19.5, U: 1, Dim: O}, between, ConditionalPass, Pass},
		{"between, U beyond both ends", Reading{Value: 15, U: 50, Dim: O}, between, ConditionalPass, Pass},
		{"between, outside by less than U", Reading{Value: 9.5, U: 1, Dim: O}, between, ConditionalFail, Fail},
		{"between, outside", Reading{Value: 25, U: 1, Dim: O}, between, Fail, Fail},
		{"between, above", Reading{Value: 12, U: 1, Side: quantity.Above, Dim: O}, between, CannotDecide, CannotDecide},
		{"between, above all", Reading{Value: 30, U: 1, Side: quantity.Above, Dim: O}, between, Fail, Fail},
		{"between, below all", Reading{Value: 5, U: 1, Side: quantity.Below, Dim: O}, between, Fail, Fail},
		{"a resistance below nought", Reading{Value: -5, U: 0.03, Dim: O}, atMost, CannotDecide, CannotDecide},
		{"a resistance below nought within U", Reading{Value: -0.02, U: 0.03, Dim: O}, atMost, Pass, Pass},
		{"a watch near its limit", Reading{Value: 0.19, U: 0.21, Dim: S}, bound(quantity.AtMost, 0, 0.25, S), ConditionalPass, Pass},
		{"window, inside", Reading{Value: 15, U: 1, Dim: O}, window, Pass, Pass},
		{"window, outside by less than U", Reading{Value: 20.5, U: 1, Dim: O}, window, Pass, Pass},
		{"window, missed", Reading{Value: 21.5, U: 1, Dim: O}, window, Fail, Fail},
		{"window, missed by a reading that only looks good", Reading{Value: 400e6, U: 12.5e6, Side: quantity.Above, Dim: O}, bound(quantity.Expected, 8.2e6, 61e6, O), Fail, Fail},
		{"window, one-sided and open", Reading{Value: 12, U: 1, Side: quantity.Above, Dim: O}, window, CannotDecide, CannotDecide},
		{"window, meter too coarse", Reading{Value: 15, U: 50, Dim: O}, window, CannotDecide, CannotDecide},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := Decide(c.r, c.b, GuardBand)
			assert.Equal(t, c.want, d.Verdict)
			assert.Equal(t, c.r.U, d.U)
			assert.Equal(t, c.b, d.Bound)
			assert.Equal(t, c.simple, Decide(c.r, c.b, SimpleAcceptance).Verdict)
			if d.Verdict == CannotDecide {
				require.NotEmpty(t, d.Warnings)
				assert.NotEmpty(t, d.Warnings[0].Sentence)
			}
		})
	}
}

func TestDecideMalformed(t *testing.T) {
	good, b := Reading{Value: 1, Dim: quantity.Ohm}, bound(quantity.AtLeast, 0.5, 0, quantity.Ohm)
	require.Equal(t, Pass, Decide(good, b, GuardBand).Verdict)
	nan, inf := math.NaN(), math.Inf(1)
	type input struct {
		r    Reading
		b    quantity.Bound
		rule Rule
	}
	for name, c := range map[string]input{
		"value NaN":       {Reading{Value: nan, Dim: quantity.Ohm}, b, 0},
		"value infinite":  {Reading{Value: inf, Dim: quantity.Ohm}, b, 0},
		"U NaN":           {Reading{Value: 1, U: nan, Dim: quantity.Ohm}, b, 0},
		"U infinite":      {Reading{Value: 1, U: inf, Dim: quantity.Ohm}, b, 0},
		"U negative":      {Reading{Value: 1, U: -1, Dim: quantity.Ohm}, b, 0},
		"dimension":       {Reading{Value: 1, Dim: quantity.Volt}, b, 0},
		"side":            {Reading{Value: 1, Side: 7, Dim: quantity.Ohm}, b, 0},
		"no bound":        {good, quantity.Bound{Dim: quantity.Ohm}, 0},
		"bound NaN":       {good, bound(quantity.AtLeast, nan, 0, quantity.Ohm), 0},
		"bound infinite":  {good, bound(quantity.AtMost, 0, inf, quantity.Ohm), 0},
		"at least -inf":   {good, bound(quantity.AtLeast, -inf, 0, quantity.Ohm), 0},
		"empty between":   {good, bound(quantity.Between, 2, 0.5, quantity.Ohm), 0},
		"empty window":    {good, bound(quantity.Expected, 2, 0.5, quantity.Ohm), 0},
		"empty magnitude": {good, bound(quantity.MagnitudeAtMost, 0, -1, quantity.Ohm), 0},
		"no rule":         {good, b, 2},
	} {
		t.Run(name, func(t *testing.T) {
			d := Decide(c.r, c.b, c.rule)
			assert.Equal(t, CannotDecide, d.Verdict)
			assert.NotEmpty(t, d.Warnings)
		})
	}
}

// 120 kΩ with both poles joined is 300 Ω/V at 400 V: it fails 500 Ω/V and
// passes 100 Ω/V, on the circuit that the two-voltage method gives 200 kΩ
// for (check 5 of the figures, CALC).
func TestJoinedPoleOfTheSameCircuit(t *testing.T) {
	r := Reading{Value: 120e3, Dim: quantity.Ohm}
	assert.Equal(t, Fail, Decide(r, bound(quantity.AtLeast, 500*400, 0, quantity.Ohm), GuardBand).Verdict)
	assert.Equal(t, Pass, Decide(r, bound(quantity.AtLeast, 100*400, 0, quantity.Ohm), GuardBand).Verdict)
}

func drawReading(t *rapid.T) Reading {
	dims := []quantity.Dim{quantity.Ohm, quantity.Volt}
	r := Reading{
		Dim:  rapid.SampledFrom(dims).Draw(t, "dim"),
		U:    rapid.Float64Range(0, 3).Draw(t, "U"),
		Side: rapid.SampledFrom([]quantity.Side{quantity.Exact, quantity.Above, quantity.Below}).Draw(t, "side"),
	}
	r.Value = rapid.Float64Range(-10, 10).Draw(t, "value")
	r.OverRange = rapid.Bool().Draw(t, "over")
	if r.OverRange && r.Side == quantity.Exact {
		r.Value = math.Abs(r.Value)
	}
	return r
}

func drawBound(t *rapid.T, dim quantity.Dim) quantity.Bound {
	kinds := []quantity.BoundKind{quantity.AtLeast, quantity.AtMost, quantity.Between, quantity.MagnitudeAtMost}
	low := rapid.Float64Range(-10, 10).Draw(t, "low")
	return bound(rapid.SampledFrom(kinds).Draw(t, "kind"), low, low+rapid.Float64Range(0, 10).Draw(t, "width"), dim)
}

// drawTruth draws a true value that the reading allows; false if there is
// none, as a resistance below nought.
func drawTruth(t *rapid.T, r Reading) (float64, bool) {
	part := rapid.Float64Range(-1, 1).Draw(t, "part")
	beyond := math.Exp(rapid.Float64Range(-5, 20).Draw(t, "beyond"))
	x := r.Value + part*r.U
	switch {
	case r.OverRange && r.Side == quantity.Exact:
		x = r.Value - r.U + beyond
		if rapid.Bool().Draw(t, "negative") {
			x = -x
		}
	case r.Side == quantity.Above:
		x = r.Value - r.U + beyond
	case r.Side == quantity.Below:
		x = r.Value + r.U - beyond
	}
	if neverNegative(r.Dim) && x < 0 {
		return 0, r.Value+r.U >= 0
	}
	return x, true
}

func TestPassHoldsForEveryTrueValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReading(t)
		b := drawBound(t, r.Dim)
		switch d := Decide(r, b, GuardBand); d.Verdict {
		case Pass:
			if x, ok := drawTruth(t, r); ok && !b.Contains(x) {
				t.Fatalf("%+v passed %v, but the true value may be %g", r, b, x)
			}
		case Fail:
			if r.OverRange && r.Side == quantity.Exact {
				return // an over-range reading fails without a proof
			}
			if x, ok := drawTruth(t, r); ok && b.Contains(x) {
				t.Fatalf("%+v failed %v, but the true value may be %g", r, b, x)
			}
		}
	})
}

func TestSimplePassMeansTheReadingMeetsTheBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReading(t)
		b := drawBound(t, r.Dim)
		if Decide(r, b, SimpleAcceptance).Verdict == Pass && !b.Contains(r.Value) {
			t.Fatalf("%+v passed %v", r, b)
		}
	})
}

func TestWindowIsMissedOnlyBeyondU(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReading(t)
		b := drawBound(t, r.Dim)
		b.Kind = quantity.Expected
		d := Decide(r, b, GuardBand)
		if d.Verdict == Pass && (r.Side != quantity.Exact || r.OverRange && r.Side == quantity.Exact || r.Value+r.U < b.Low || r.Value-r.U > b.High) {
			t.Fatalf("%+v met %v", r, b)
		}
		if d.Verdict == Fail && b.Contains(r.Value) && r.Side == quantity.Exact && !r.OverRange {
			t.Fatalf("%+v missed %v", r, b)
		}
	})
}

func FuzzDecide(f *testing.F) {
	f.Add(1.0, 0.1, 0, 1, 0.5, 2.0, false, 0)
	f.Add(-362.4, 2.0, 0, 4, 0.0, 60.0, false, 0)
	f.Add(400e6, 12e6, 1, 1, 2e5, 0.0, true, 0)
	f.Fuzz(func(t *testing.T, value, u float64, side, kind int, low, high float64, over bool, rule int) {
		r := Reading{Value: value, U: u, Side: quantity.Side(side), OverRange: over, Dim: quantity.Volt}
		b := bound(quantity.BoundKind(kind), low, high, quantity.Volt)
		d := Decide(r, b, Rule(rule))
		if d.Verdict.rank() > 3 && d.Verdict != Fail {
			t.Fatalf("verdict %q", d.Verdict)
		}
		if d.Verdict != Pass || b.Kind == quantity.Expected {
			return
		}
		if over && r.Side == quantity.Exact || !finite(value) || !finite(u) || !b.Contains(value) {
			t.Fatalf("%+v passed %v", r, b)
		}
		if Rule(rule) == GuardBand && r.Side == quantity.Exact && !(b.Contains(value-u) && b.Contains(value+u)) {
			t.Fatalf("%+v passed %v, but not within U", r, b)
		}
	})
}
