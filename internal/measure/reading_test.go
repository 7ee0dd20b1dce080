package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/quantity"
)

func index(i int) *int { return &i }

func TestRead(t *testing.T) {
	volts, ohms := voltmeter().Functions[0], insulation().Functions[0]
	specified := Function{Name: "torque", Dim: quantity.NewtonMetre, Ranges: []MeterRange{{From: 5, To: 25, Digit: 0.1, PercentOfReading: 0.04}}}
	for _, c := range []struct {
		name, text string
		f          Function
		on         *int
		value, u   float64
		side       quantity.Side
		over       bool
		at         int
		warning    string
	}{
		{"smallest range", "5.9 V", volts, nil, 5.9, 0.0315, quantity.Exact, false, 0, ""},
		{"its end belongs to it", "6 V", volts, nil, 6, 0.032, quantity.Exact, false, 0, ""},
		{"the next one", "6.01 V", volts, nil, 6.01, 0.05005, quantity.Exact, false, 1, ""},
		{"magnitude", "-362.4 V", volts, nil, -362.4, 2.012, quantity.Exact, false, 2, ""},
		{"a named range", "0.7 V", volts, index(2), 0.7, 0.2035, quantity.Exact, false, 2, ""},
		{"more digits than shown", "362.41 V", volts, nil, 362.41, 2.01205, quantity.Exact, false, 2, "more-digits"},
		{"fewer digits than shown: the range's count", "1.62 MΩ", ohms, nil, 1.62e6, 53.6e3, quantity.Exact, false, 0, ""},
		{"the demo's whole", "412 kΩ", ohms, nil, 412e3, 17.36e3, quantity.Exact, false, 0, ""},
		{"above the top", ">400 MΩ", ohms, nil, 400e6, 12.5e6, quantity.Above, false, 2, ""},
		{"above something else", ">300 MΩ", ohms, nil, 300e6, 9.5e6, quantity.Above, false, 2, "not-top-of-range"},
		{"below the first count", "<1 kΩ", ohms, nil, 1e3, 5.03e3, quantity.Below, false, 0, ""},
		{"OL on ohms", "OL", ohms, index(0), 4e6, 125e3, quantity.Above, true, 0, ""},
		{"OL on ohms, range not named", "OL", ohms, nil, 400e6, 12.5e6, quantity.Above, true, 2, "range-assumed"},
		{"OL on volts has no sign", "OL", volts, index(1), 60, 0.32, quantity.Exact, true, 1, ""},
		{"-OL on volts has", "-OL", volts, index(1), -60, 0.32, quantity.Below, true, 1, ""},
		{"below what is specified", "3 N·m", specified, nil, 3, 2.2, quantity.Exact, false, 0, "below-specified"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, warnings, err := c.f.Read(typed(t, c.text, c.f.Dim), c.on)
			require.NoError(t, err)
			assert.InDelta(t, c.value, r.Value, 1e-9*math.Abs(c.value))
			assert.InDelta(t, c.u, r.U, 1e-9*c.u)
			assert.Equal(t, c.side, r.Side)
			assert.Equal(t, c.over, r.OverRange)
			assert.Equal(t, c.at, r.RangeIndex)
			assert.Equal(t, c.text, r.Text)
			var codes string
			for _, w := range warnings {
				codes += w.Code
				assert.NotEmpty(t, w.Sentence)
			}
			assert.Equal(t, c.warning, codes)
		})
	}
}

func TestReadRefuses(t *testing.T) {
	volts, ohms := voltmeter().Functions[0], insulation().Functions[0]
	for _, c := range []struct {
		name string
		f    Function
		q    quantity.Reading
		on   *int
		want string
	}{
		{"beyond the meter", volts, quantity.Reading{SI: 601, Dim: quantity.Volt}, nil, "cannot show"},
		{"beyond the meter, one-sided", ohms, quantity.Reading{SI: 2e9, Side: quantity.Above, Dim: quantity.Ohm}, nil, "cannot show"},
		{"beyond the named range", volts, quantity.Reading{SI: 61, Dim: quantity.Volt}, index(1), "on the range to 60 V"},
		{"another dimension", volts, quantity.Reading{SI: 1, Dim: quantity.Ohm}, nil, "reads V, not Ω"},
		{"no such range", volts, quantity.Reading{SI: 1, Dim: quantity.Volt}, index(3), "no range number 4"},
		{"no such range, below", volts, quantity.Reading{SI: 1, Dim: quantity.Volt}, index(-1), "no range"},
		{"NaN", volts, quantity.Reading{SI: math.NaN(), Dim: quantity.Volt}, nil, "not a number"},
		{"infinity", ohms, quantity.Reading{SI: math.Inf(1), Dim: quantity.Ohm}, nil, "not a number"},
		{"negative OL on ohms", ohms, quantity.Reading{OverRange: true, Side: quantity.Below, Dim: quantity.Ohm}, nil, "negative side"},
		{"no accuracy", Function{Name: "f", Dim: quantity.Ohm, Ranges: []MeterRange{{To: 4}}}, quantity.Reading{SI: 1, Dim: quantity.Ohm}, nil, "no accuracy"},
		{"no ranges", Function{Name: "f", Dim: quantity.Ohm}, quantity.Reading{SI: 1, Dim: quantity.Ohm}, nil, "no ranges"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, _, err := c.f.Read(c.q, c.on)
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
}

func TestUIsNeverBelowOneDigit(t *testing.T) {
	r := MeterRange{To: 25, Digit: 0.1, PercentOfReading: 0.04}
	assert.Equal(t, 0.1, r.U(0))
	assert.Equal(t, 0.1, r.U(2.5))
	assert.InDelta(t, 0.4, r.U(10), 1e-12)
	assert.InDelta(t, 0.4, r.U(-10), 1e-12)
}

func TestCombine(t *testing.T) {
	assert.InEpsilon(t, 10/math.Sqrt(3), Combine(3, 4), 1e-12)
	assert.Equal(t, 1.1, Combine(1, 0.1), "the sum, where it is the smaller")
	assert.Equal(t, 0.0, Combine())
	assert.Equal(t, 0.3, Combine(0.3))
	// Figures, section 9: a = 0.83 as rectangular, k = 2, is 0.958, above the
	// hard bound: it stays 0.83 (READ 0.83, CALC 0.958).
	assert.Equal(t, 0.83, Combine(0.83))
	assert.InDelta(t, 0.958, 2/math.Sqrt(3)*0.83, 0.0005)
	assert.True(t, math.IsNaN(Combine(1, math.NaN())))
	assert.True(t, math.IsNaN(Combine(1, -1)))
	assert.True(t, math.IsInf(Combine(1, math.Inf(1)), 1))
}
