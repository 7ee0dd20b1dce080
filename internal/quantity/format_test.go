package quantity_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestFormat(t *testing.T) {
	const near, down, up = quantity.RoundNearest, quantity.RoundDown, quantity.RoundUp
	tenth, fifth := 0.1, 0.2 // variables: constants would be added exactly
	tests := []struct {
		si     float64
		dim    quantity.Dim
		digits int
		r      quantity.Rounding
		want   string
	}{
		{201600, quantity.Ohm, 4, near, "201.6 kΩ"},
		{201611, quantity.Ohm, 4, down, "201.6 kΩ"},
		{201611, quantity.Ohm, 4, up, "201.7 kΩ"},
		{-201611, quantity.Ohm, 4, down, "-201.7 kΩ"},
		{-201611, quantity.Ohm, 4, up, "-201.6 kΩ"},
		// Carries into the next prefix.
		{999.94, quantity.Volt, 4, near, "999.9 V"},
		{999.95, quantity.Volt, 4, near, "1 kV"},
		{math.Nextafter(999.95, 0), quantity.Volt, 4, near, "999.9 V"},
		{999.91, quantity.Volt, 4, up, "1 kV"},
		{0.99996, quantity.Volt, 4, near, "1 V"},
		{999.99, quantity.Second, 4, up, "1000 s"},
		// One bit of noise is not a value, one part in 10⁹ is.
		{math.Nextafter(201600, math.Inf(1)), quantity.Ohm, 4, up, "201.6 kΩ"},
		{math.Nextafter(201600, 0), quantity.Ohm, 4, down, "201.6 kΩ"},
		{201600 * (1 + 1e-9), quantity.Ohm, 4, up, "201.7 kΩ"},
		{201600 * (1 - 1e-9), quantity.Ohm, 4, down, "201.5 kΩ"},
		{tenth + fifth, quantity.Volt, 4, up, "300 mV"},
		// With all digits there is no noise: both neighbours show.
		{tenth + fifth, quantity.Volt, 17, near, "300.00000000000004 mV"},
		{0.1, quantity.Volt, 17, up, "100.00000000000001 mV"},
		{0.1, quantity.Volt, 99, near, "100.00000000000001 mV"},
		{0.123, quantity.Volt, 0, near, "100 mV"},
		{3600, quantity.Second, 4, near, "3600 s"},
		{86400, quantity.Second, 4, near, "86400 s"},
		{0.0801108, quantity.Second, 4, near, "80.11 ms"},
		{0.05, quantity.NewtonMetre, 4, near, "0.05 N·m"},
		{12346, quantity.NewtonMetre, 4, near, "12350 N·m"},
		{500, quantity.OhmPerVolt, 4, near, "500 Ω/V"},
		{0.05, quantity.OhmPerVolt, 4, near, "0.05 Ω/V"},
		{1234567, quantity.OhmPerVolt, 4, near, "1.235 MΩ/V"},
		{5e6, quantity.Volt, 4, near, "5000 kV"},
		{1e-20, quantity.Volt, 4, near, "1e-20 V"},
		{1.5e25, quantity.Ohm, 4, near, "1.5e25 Ω"},
		{3.5e-5, quantity.SquareMetre, 4, near, "35 mm²"},
		{1.5, quantity.SquareMetre, 4, near, "1.5 m²"},
		{151200, quantity.Coulomb, 4, near, "42 Ah"},
		{0.001, quantity.Coulomb, 4, near, "1 mC"},
		{5e-324, quantity.Volt, 4, near, "4.941e-324 V"},
		{math.MaxFloat64, quantity.Volt, 4, up, "1.798e308 V"},
		{0, quantity.Volt, 4, up, "0 V"},
		{math.Copysign(0, -1), quantity.Volt, 4, down, "0 V"},
		{0, quantity.One, 4, near, "0"},
		{math.NaN(), quantity.Volt, 4, near, "not a number"},
		{math.Inf(1), quantity.Volt, 4, near, "infinite"},
		{math.Inf(-1), quantity.Volt, 4, down, "minus infinite"},
		{4, quantity.Volt.Pow(2), 4, near, "4 V²"},
		{60, quantity.Kelvin, 4, near, "60 K"},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, quantity.Format(quantity.Value{SI: tt.si, Dim: tt.dim}, tt.digits, tt.r), "%v %v %d", tt.si, tt.dim, tt.digits)
	}
}

func TestCelsius(t *testing.T) {
	for text, want := range map[string]string{
		"17 °C": "17 °C", "-40 °C": "-40 °C", "0 °C": "0 °C", "17.4 °C": "17.4 °C", "85.25 °C": "85.25 °C", "290.15 K": "17 °C", "5 V": "5 V",
	} {
		v, err := quantity.Parse(text)
		require.NoError(t, err)
		assert.Equal(t, want, quantity.Celsius(v, 4, quantity.RoundNearest), text)
		assert.Equal(t, want, quantity.Celsius(v, 4, quantity.RoundUp), text)
	}
	assert.Equal(t, "not a number", quantity.Celsius(quantity.Value{SI: math.NaN(), Dim: quantity.Kelvin}, 4, quantity.RoundUp))
}

// Rounded up is not below, rounded down not above the value, and neither is
// more than one digit off.
func TestFormatRounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(1, 10).Draw(t, "digits") * pow10(rapid.IntRange(-9, 9).Draw(t, "exponent"))
		if rapid.Bool().Draw(t, "negative") {
			x = -x
		}
		digits := rapid.IntRange(2, 9).Draw(t, "n")
		read := func(r quantity.Rounding) float64 {
			text := quantity.Format(quantity.Value{SI: x, Dim: quantity.Ohm}, digits, r)
			v, err := quantity.Parse(text)
			require.NoError(t, err, text)
			require.False(t, strings.HasPrefix(text, "-0 "), text)
			return v.SI
		}
		up, down := read(quantity.RoundUp), read(quantity.RoundDown)
		noise := 1e-12 * math.Abs(x)
		require.GreaterOrEqual(t, up, x-noise)
		require.LessOrEqual(t, down, x+noise)
		require.LessOrEqual(t, up-down, 1.001*math.Abs(x)*pow10(1-digits))
	})
}

// A limit that is printed in JSON is never easier to meet than the one that was
// computed, but for what is noise of the arithmetic, half a part in 10¹².
func TestRoundIsNeverOnTheUnsafeSide(t *testing.T) {
	assert.Equal(t, 201600.0, quantity.Round(201600.00000000003, 12, quantity.RoundUp))
	assert.Equal(t, 0.0593028, quantity.Round(0.05930279999999999, 12, quantity.RoundDown))
	assert.Equal(t, 9155.31335150, quantity.Round(9155.313351498637, 12, quantity.RoundUp))
	assert.Equal(t, 9155.31335149, quantity.Round(9155.313351498637, 12, quantity.RoundDown))
	assert.True(t, math.IsInf(quantity.Round(math.Inf(1), 12, quantity.RoundUp), 1))
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.Float64Range(-1e9, 1e9).Draw(t, "x")
		noise := 5e-13 * math.Abs(x)
		up, down := quantity.Round(x, 12, quantity.RoundUp), quantity.Round(x, 12, quantity.RoundDown)
		if up < x-noise || down > x+noise || up-down > 2e-11*math.Abs(x) {
			t.Fatalf("%v is rounded to %v and %v", x, down, up)
		}
	})
}
