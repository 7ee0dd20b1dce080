package quantity_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestParseRange(t *testing.T) {
	tests := []struct {
		text            string
		lo, nominal, hi float64
		dim             quantity.Dim
	}{
		{"1.02 mF ±10%", 918e-6, 1.02e-3, 1122e-6, quantity.Farad},
		{"1.02 mF +/- 10 %", 918e-6, 1.02e-3, 1122e-6, quantity.Farad},
		{"47..53 Ω", 47, 50, 53, quantity.Ohm},
		{"47 Ω..53 Ω", 47, 50, 53, quantity.Ohm},
		{"47…53 Ω", 47, 50, 53, quantity.Ohm},
		{"900 µF..1.1 mF", 9e-4, 1e-3, 1.1e-3, quantity.Farad},
		{"1.7..2.3 Ω", 1.7, 2, 2.3, quantity.Ohm},
		{"-13..-11 V", -13, -12, -11, quantity.Volt},
		{"12 V -10%/+20%", 10.8, 12, 14.4, quantity.Volt},
		{"12 V +20%/-10%", 10.8, 12, 14.4, quantity.Volt},
		{"12V-10%/+20%", 10.8, 12, 14.4, quantity.Volt},
		{"12 V -10% +20%", 10.8, 12, 14.4, quantity.Volt},
		{"12 V -1 V/+2 V", 11, 12, 14, quantity.Volt},
		{"100 µF -10%/+150%", 90e-6, 100e-6, 250e-6, quantity.Farad},
		{"17 N·m ±10%", 15.3, 17, 18.7, quantity.NewtonMetre},
		{"17 N·m ±0.5 N·m", 16.5, 17, 17.5, quantity.NewtonMetre},
		{"-5 V ±10%", -5.5, -5, -4.5, quantity.Volt},
		{"94..96 %", 0.94, 0.95, 0.96, quantity.One},
		{"17 °C ±2 K", 288.15, 290.15, 292.15, quantity.Kelvin},
		{"17 °C ±2 °C", 288.15, 290.15, 292.15, quantity.Kelvin},
		{"10..30 °C", 283.15, 293.15, 303.15, quantity.Kelvin},
		{"4.20 V", 4.2, 4.2, 4.2, quantity.Volt},
		{"96", 96, 96, 96, quantity.One},
		{"24 Ω ±10%", 21.6, 24, 26.4, quantity.Ohm},
		{"0.30 Ω ±20%", 0.24, 0.3, 0.36, quantity.Ohm},
	}
	for _, tt := range tests {
		r, err := quantity.ParseRange(tt.text)
		require.NoError(t, err, tt.text)
		assert.Equal(t, quantity.Range{Lo: tt.lo, Nominal: tt.nominal, Hi: tt.hi, Dim: tt.dim, Text: tt.text}, r, tt.text)
		assert.Equal(t, tt.lo == tt.hi, r.Exact(), tt.text)
		assert.Equal(t, quantity.Value{SI: tt.nominal, Dim: tt.dim}, r.Value(), tt.text)
		assert.Equal(t, tt.text, r.String())
	}
}

func TestParseRangeFaults(t *testing.T) {
	tests := []struct{ text, message, hint string }{
		{"53..47 Ω", `"53..47 Ω" has its lower end above its upper one`, "write the lower end first"},
		{"47-53 Ω", `"47-53 Ω" has a minus sign between two numbers`, "a range is written 47..53 Ω, a tolerance 50 Ω ±5%"},
		{"47–53 Ω", `"47–53 Ω" has something after the quantity: "–53 Ω"`, "a range is written 47..53 Ω, a tolerance 50 Ω ±5%"},
		{"47 V..53 Ω", `"47 V..53 Ω" has ends in V and Ω`, "write both ends in one unit, as in 47..53 Ω"},
		{"47 Ω..", `"47 Ω.." is not a quantity: it does not begin with a number`, "write a number and its unit, as in 4.7 kΩ"},
		{"..53 Ω", `"..53 Ω" is not a quantity: it does not begin with a number`, "write a number and its unit, as in 4.7 kΩ"},
		{"17 N·m ±0.5", `"17 N·m ±0.5" has a tolerance without unit`, "write 0.5% or 0.5 N·m"},
		{"12 V ±1 A", `"12 V ±1 A" has a tolerance in A on a value in V`, "write both in one unit, or the tolerance in %"},
		{"95 % ±1 %", `"95 % ±1 %" has a percentage of a percentage, which can be read in two ways`, "write both ends, as in 94..96 %"},
		{"17 °C ±5%", `"17 °C ±5%" has a percentage of a temperature`, "write it in kelvin, as in 20 °C ±2 K"},
		{"0 V ±10%", `"0 V ±10%" has a percentage of zero`, "write the tolerance with its unit"},
		{"5 V ±150%", `"5 V ±150%" has a tolerance above 100 %`, ""},
		{"5 V -150%/+20%", `"5 V -150%/+20%" has a tolerance above 100 %`, ""},
		{"5 V -10%", `"5 V -10%" has only one side of a tolerance`, "write both, as in 12 V -10%/+20%"},
		{"5 V -10%/-20%", `"5 V -10%/-20%" has only one side of a tolerance`, "write both, as in 12 V -10%/+20%"},
		{"-5 V -10%/+20%", `"-5 V -10%/+20%" has unequal percentages of a negative value, which can be read in two ways`, "write both ends, as in -13..-11 V"},
		{"±5%", `"±5%" has a tolerance but no value`, "write the value first, as in 1.02 mF ±10%"},
		{"12 V ±-5%", `"12 V ±-5%" has a tolerance with two signs`, "as in 12 V ±10% or 12 V -10%/+20%"},
		{"1.02 mF ±10% ±5%", `"1.02 mF ±10% ±5%" has a second tolerance`, ""},
		{"1,02 mF ±10%", `"1,02 mF ±10%" has a decimal comma`, "write it with a point: 1.02 mF ±10%"},
		{"1.02 mf ±10%", `"1.02 mf ±10%" is not a quantity: there is no unit "mf"`, "did you mean 1.02 mF?"},
		{">2 GΩ", `">2 GΩ" is a bound, not a value`, "write the value itself, or both ends as in 47..53 Ω"},
		{"-300..20 °C", `"-300..20 °C" is below absolute zero`, ""},
		{"", "there is no quantity", "write a number and its unit, as in 4.7 kΩ"},
		{"-300 °C ±1 K", `"-300 °C ±1 K" is below absolute zero`, ""},
	}
	for _, tt := range tests {
		_, err := quantity.ParseRange(tt.text)
		var syntax *quantity.SyntaxError
		require.ErrorAs(t, err, &syntax, tt.text)
		assert.Equal(t, tt.message, syntax.Message, tt.text)
		assert.Equal(t, tt.hint, syntax.Hint, tt.text)
	}
}

// The ends of a percentage are the float64 nearest to the exact decimal.
func TestParseRangeIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n, p := rapid.IntRange(1, 1e6).Draw(t, "n"), rapid.IntRange(1, 99).Draw(t, "percent")
		r, err := quantity.ParseRange(fmt.Sprintf("%d mΩ ±%d%%", n, p))
		require.NoError(t, err)
		for _, end := range []struct {
			sum int
			got float64
		}{{n * (100 - p), r.Lo}, {n * 100, r.Nominal}, {n * (100 + p), r.Hi}} {
			want, err := quantity.Parse(fmt.Sprintf("%de-5 Ω", end.sum))
			require.NoError(t, err)
			require.Equal(t, want.SI, end.got)
		}
		require.True(t, r.Lo <= r.Nominal && r.Nominal <= r.Hi)
	})
}

func TestRangeString(t *testing.T) {
	assert.Equal(t, "918 µF..1.122 mF", quantity.Range{Lo: 918e-6, Nominal: 1.02e-3, Hi: 1122e-6, Dim: quantity.Farad}.String())
	assert.Equal(t, "403.2 V", quantity.Range{Lo: 403.2, Nominal: 403.2, Hi: 403.2, Dim: quantity.Volt}.String())
	rapid.Check(t, func(t *rapid.T) {
		lo := rapid.Float64Range(-1e6, 1e6).Filter(func(x float64) bool { return math.Abs(x) > 1e-25 }).Draw(t, "lo")
		hi := lo + rapid.Float64Range(1, 1e6).Draw(t, "width")
		printed := quantity.Range{Lo: lo, Nominal: lo/2 + hi/2, Hi: hi, Dim: quantity.Volt}.String()
		back, err := quantity.ParseRange(printed)
		require.NoError(t, err, printed)
		slack := 1e-12 * math.Max(math.Abs(lo), math.Abs(hi))
		require.True(t, back.Lo <= lo+slack && back.Hi >= hi-slack, "%v..%v printed %s", lo, hi, printed)
	})
}
