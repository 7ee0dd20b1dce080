package quantity_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/quantity"
)

func TestParseReading(t *testing.T) {
	type r = quantity.Reading
	tests := []struct {
		text string
		dim  quantity.Dim
		want quantity.Reading
	}{
		{"45.4 M", quantity.Ohm, r{SI: 45.4e6, Digit: 1e5}},
		{"45.4M", quantity.Ohm, r{SI: 45.4e6, Digit: 1e5}},
		{"45.4 m", quantity.Ohm, r{SI: 45.4e-3, Digit: 1e-4}},
		{"45.4 MΩ", quantity.Ohm, r{SI: 45.4e6, Digit: 1e5, UnitTyped: true}},
		{"45.4 Mohm", quantity.Ohm, r{SI: 45.4e6, Digit: 1e5, UnitTyped: true}},
		{"412 kΩ", quantity.Ohm, r{SI: 412e3, Digit: 1e3, UnitTyped: true}},
		{"412.0 kΩ", quantity.Ohm, r{SI: 412e3, Digit: 100, UnitTyped: true}},
		{">2 GΩ", quantity.Ohm, r{SI: 2e9, Digit: 1e9, Side: quantity.Above, UnitTyped: true}},
		{"> 400 M", quantity.Ohm, r{SI: 400e6, Digit: 1e6, Side: quantity.Above}},
		{"≥2 GΩ", quantity.Ohm, r{SI: 2e9, Digit: 1e9, Side: quantity.Above, UnitTyped: true}},
		{"<0.01 Ω", quantity.Ohm, r{SI: 0.01, Digit: 0.01, Side: quantity.Below, UnitTyped: true}},
		{"<= 10 mΩ", quantity.Ohm, r{SI: 0.01, Digit: 0.001, Side: quantity.Below, UnitTyped: true}},
		{"OL", quantity.Ohm, r{OverRange: true, Side: quantity.Above}},
		{"ol", quantity.Volt, r{OverRange: true, Side: quantity.Above}},
		{"O.L", quantity.Ohm, r{OverRange: true, Side: quantity.Above}},
		{"> OL", quantity.Ohm, r{OverRange: true, Side: quantity.Above}},
		{"-OL", quantity.Volt, r{OverRange: true, Side: quantity.Below}},
		{"OL MΩ", quantity.Ohm, r{OverRange: true, Side: quantity.Above, UnitTyped: true}},
		{"OL M", quantity.Ohm, r{OverRange: true, Side: quantity.Above}},
		{"-362.4 V", quantity.Volt, r{SI: -362.4, Digit: 0.1, UnitTyped: true}},
		{"-0.0 V", quantity.Volt, r{SI: 0, Digit: 0.1, UnitTyped: true}},
		{"1.0e3 V", quantity.Volt, r{SI: 1000, Digit: 100, UnitTyped: true}},
		{"12.5 lbf·ft", quantity.NewtonMetre, r{SI: 16.947724354142505, Digit: 0.13558179483314004, UnitTyped: true}},
		{"17 °C", quantity.Kelvin, r{SI: 290.15, Digit: 1, UnitTyped: true}},
		{"17.4 °C", quantity.Kelvin, r{SI: 290.55, Digit: 0.1, UnitTyped: true}},
		{"62 %", quantity.One, r{SI: 0.62, Digit: 0.01, UnitTyped: true}},
		{"96", quantity.One, r{SI: 96, Digit: 1}},
		{"61 mm", quantity.Metre, r{SI: 0.061, Digit: 0.001, UnitTyped: true}},
		{"2 m", quantity.Metre, r{SI: 2, Digit: 1, UnitTyped: true}},
		{"213 m", quantity.Second, r{SI: 0.213, Digit: 0.001}},
		{"5 k", quantity.OhmPerVolt, r{SI: 5000, Digit: 1000}},
	}
	for _, tt := range tests {
		got, err := quantity.ParseReading(tt.text, tt.dim)
		require.NoError(t, err, tt.text)
		tt.want.Text, tt.want.Dim = tt.text, tt.dim
		assert.Equal(t, tt.want, got, tt.text)
	}
}

func TestParseReadingFaults(t *testing.T) {
	tests := []struct {
		text          string
		dim           quantity.Dim
		message, hint string
	}{
		{"412", quantity.Ohm, `"412" has no unit`, "412 Ω, kΩ or MΩ?"},
		{">400", quantity.Ohm, `">400" has no unit`, "400 Ω, kΩ or MΩ?"},
		{"17", quantity.NewtonMetre, `"17" has no unit`, "17 N·m or lbf·ft?"},
		{"5", quantity.Volt, `"5" has no unit`, "5 V or mV?"},
		{"5 V", quantity.Ohm, `"5 V" is in V, not in Ω`, "this step reads Ω: 5 Ω, kΩ or MΩ?"},
		{"5 K", quantity.Ohm, `"5 K" is in K, not in Ω`, "this step reads Ω: 5 Ω, kΩ or MΩ?"},
		{"17 C", quantity.Kelvin, `"17 C" is in C, not in K`, "did you mean 17 °C?"},
		{"17 J", quantity.NewtonMetre, `"17 J" is in J, not in N·m`, "this step reads N·m: 17 N·m or lbf·ft?"},
		{"45,4 M", quantity.Ohm, `"45,4 M" has a decimal comma`, "write it with a point: 45.4 M"},
		{"45.4 mω", quantity.Ohm, `"45.4 mω" is not a quantity: there is no unit "mω"`, "did you mean 45.4 mΩ?"},
		{"5 k", quantity.Second, `"5 k" is not a quantity: there is no unit "k"`, "write the unit after the prefix, as in 4.7 kΩ"},
		{"5 m", quantity.SquareMetre, `"5 m" is in m, not in m²`, "this step reads m²: 5 m²?"},
		{"5 m", quantity.One, `"5 m" is in m, not in 1`, "this step reads plain numbers, without unit"},
		{"50 Ω ±5%", quantity.Ohm, `"50 Ω ±5%" is a range, not a reading`, "type what the meter shows, one value"},
		{"12 V 3", quantity.Volt, `"12 V 3" has something after the quantity: "3"`, "type what the meter shows, one value"},
		{"OL V", quantity.Ohm, `"OL V" is not a reading in Ω`, "type OL and nothing else"},
		{"OLd", quantity.Ohm, `"OLd" is not a reading in Ω`, "type OL and nothing else"},
		{"0L", quantity.Ohm, `"0L" is not a quantity`, "did you mean OL (over range)?"},
		{"0.L", quantity.Ohm, `"0.L" is not a quantity`, "did you mean OL (over range)?"},
		{"inf", quantity.Ohm, `"inf" is infinite, which no quantity is`, "a meter's over range is written OL"},
		{"nan", quantity.Ohm, `"nan" is not a number`, ""},
		{"0x1p4 V", quantity.Volt, `"0x1p4 V" is a hexadecimal number`, "write it in decimal"},
		{"", quantity.Ohm, "there is no quantity", "write a number and its unit, as in 4.7 kΩ"},
		{">", quantity.Ohm, `">" is not a quantity: it does not begin with a number`, "write a number and its unit, as in 4.7 kΩ"},
		{"1e-31 V", quantity.Volt, `"1e-31 V" is too small for any quantity of a car`, ""},
		{"0e-40 V", quantity.Volt, `"0e-40 V" is too small for any quantity of a car`, ""},
	}
	for _, tt := range tests {
		_, err := quantity.ParseReading(tt.text, tt.dim)
		var syntax *quantity.SyntaxError
		require.ErrorAs(t, err, &syntax, tt.text)
		assert.Equal(t, tt.message, syntax.Message, tt.text)
		assert.Equal(t, tt.hint, syntax.Hint, tt.text)
	}
}
