package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"hvproof/internal/quantity"
)

// The margin is how far inside its bound an exact reading lies, negative
// outside; of a bound on one side it is not known.
func TestMargin(t *testing.T) {
	V := quantity.Volt
	for _, c := range []struct {
		name string
		r    Reading
		b    quantity.Bound
		want float64
	}{
		{"at least", Reading{Value: 12, Dim: V}, bound(quantity.AtLeast, 9, 0, V), 3},
		{"not at least", Reading{Value: 7, Dim: V}, bound(quantity.AtLeast, 9, 0, V), -2},
		{"at most", Reading{Value: 12, Dim: V}, bound(quantity.AtMost, 0, 60, V), 48},
		{"magnitude", Reading{Value: -12, Dim: V}, bound(quantity.MagnitudeAtMost, 0, 60, V), 48},
		{"magnitude beyond", Reading{Value: -62, Dim: V}, bound(quantity.MagnitudeAtMost, 0, 60, V), -2},
		{"between, near the low end", Reading{Value: 292, Dim: V}, bound(quantity.Between, 288, 403, V), 4},
		{"between, near the high end", Reading{Value: 402, Dim: V}, bound(quantity.Between, 288, 403, V), 1},
		{"a window", Reading{Value: 287, Dim: V}, bound(quantity.Expected, 288, 403, V), -1},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Equal(t, c.want, Decide(c.r, c.b, GuardBand).Margin)
			c.r.Side = quantity.Above
			assert.True(t, math.IsNaN(Decide(c.r, c.b, GuardBand).Margin), "a reading on one side has no margin")
		})
	}
}

// A window is shown nothing by a reading whose U is wider than the window and
// than half of its middle: the wider of the two counts.
func TestCoarse(t *testing.T) {
	O := quantity.Ohm
	for _, c := range []struct {
		name      string
		low, high float64
		u         float64
		want      Verdict
	}{
		{"as wide as the window", 1, 5, 4, Pass},
		{"wider than the window", 1, 5, 4.01, CannotDecide},
		{"a narrow window, half of its middle", 10, 12, 11, Pass},
		{"a narrow window, more than half of its middle", 10, 12, 11.01, CannotDecide},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := Reading{Value: (c.low + c.high) / 2, U: c.u, Dim: O}
			b := bound(quantity.Expected, c.low, c.high, O)
			if r.Value-r.U < 0 {
				r.Dim, b.Dim = quantity.Volt, quantity.Volt // a resistance below zero is another fault
			}
			assert.Equal(t, c.want, Decide(r, b, GuardBand).Verdict)
		})
	}
}

func TestCalibratedThatDay(t *testing.T) {
	i := voltmeter()
	i.CalibratedOn = "2027-03-20"
	assert.Empty(t, Usable(i, i.Functions[0], Need{Date: "2027-03-20"}), "a meter may be used on the day it was calibrated")
	assert.Equal(t, []string{CalibrationLater}, codes(Usable(i, i.Functions[0], Need{Date: "2027-03-19"})))
}

// What passes is open towards infinity only where the bound is and the end of
// the display passes.
func TestAcceptedReadingsAreOpen(t *testing.T) {
	V := quantity.Volt
	volts := voltmeter().Functions[0]
	assert.True(t, math.IsInf(CanDecide(volts, bound(quantity.AtMost, 0, 60, V), nil, GuardBand).AcceptFrom, -1))
	between := CanDecide(volts, bound(quantity.Between, 10, 60, V), nil, GuardBand)
	assert.Greater(t, between.AcceptFrom, 10.0)
	assert.Less(t, between.AcceptTo, 60.0)
	exact := volts // a display without digits, such as one that is only read by eye
	exact.Ranges = append([]MeterRange(nil), exact.Ranges...)
	for k := range exact.Ranges {
		exact.Ranges[k].Digit, exact.Ranges[k].Digits = 0, 0
	}
	assert.True(t, math.IsInf(CanDecide(exact, bound(quantity.AtLeast, 10, 0, V), nil, GuardBand).AcceptTo, 1))
}
