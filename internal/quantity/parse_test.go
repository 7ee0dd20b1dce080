package quantity_test

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestParse(t *testing.T) {
	tests := []struct {
		text string
		want float64
		dim  quantity.Dim
		says string // String()
	}{
		{"4.7 kΩ", 4700, quantity.Ohm, "4.7 kΩ"},
		{"4.7 k\u2126", 4700, quantity.Ohm, "4.7 kΩ"},
		{"4.7kohm", 4700, quantity.Ohm, "4.7 kΩ"},
		{"4.7 kOhm", 4700, quantity.Ohm, "4.7 kΩ"},
		{"470 ohms", 470, quantity.Ohm, "470 Ω"},
		{"45.4 MΩ", 45.4e6, quantity.Ohm, "45.4 MΩ"},
		{"45.4 mΩ", 45.4e-3, quantity.Ohm, "45.4 mΩ"},
		{"2 TΩ", 2e12, quantity.Ohm, "2 TΩ"},
		{"1.02 mF", 1.02e-3, quantity.Farad, "1.02 mF"},
		{"10 µF", 1e-05, quantity.Farad, "10 µF"},
		{"10 \u03BCF", 1e-05, quantity.Farad, "10 µF"},
		{"10 uF", 1e-05, quantity.Farad, "10 µF"},
		{"40 nF", 4e-08, quantity.Farad, "40 nF"},
		{"100 Ω/V", 100, quantity.OhmPerVolt, "100 Ω/V"},
		{"500 ohm/V", 500, quantity.OhmPerVolt, "500 Ω/V"},
		{"3.3 V/ms", 3300, quantity.VoltPerSecond, "3.3 kV/s"},
		{"42 Ah", 151200, quantity.Coulomb, "42 Ah"},
		{"42 A·h", 151200, quantity.Coulomb, "42 Ah"},
		{"1 mC", 1e-3, quantity.Coulomb, "1 mC"},
		{"500 ms", 0.5, quantity.Second, "500 ms"},
		{"3600 s", 3600, quantity.Second, "3600 s"},
		{"2 h", 7200, quantity.Second, "7200 s"},
		{"5 min", 300, quantity.Second, "300 s"},
		{"200 A", 200, quantity.Ampere, "200 A"},
		{"-362.4 V", -362.4, quantity.Volt, "-362.4 V"},
		{"−362.4 V", -362.4, quantity.Volt, "-362.4 V"},
		{"+5 V", 5, quantity.Volt, "5 V"},
		{"-0 V", 0, quantity.Volt, "0 V"},
		{".5 V", 0.5, quantity.Volt, "500 mV"},
		{"1e3 V", 1000, quantity.Volt, "1 kV"},
		{"17 N·m", 17, quantity.NewtonMetre, "17 N·m"},
		{"17 Nm", 17, quantity.NewtonMetre, "17 N·m"},
		{"17 N.m", 17, quantity.NewtonMetre, "17 N·m"},
		{"170 cN·m", 1.7, quantity.NewtonMetre, "1.7 N·m"},
		{"62 %", 0.62, quantity.One, "0.62"},
		{"95%", 0.95, quantity.One, "0.95"},
		{"50 ppm", 5e-5, quantity.One, "5e-5"},
		{"96", 96, quantity.One, "96"},
		{"17 °C", 290.15, quantity.Kelvin, "290.1 K"}, // 290.15 is 290.149999999999977 as float64
		{"17 ℃", 290.15, quantity.Kelvin, "290.1 K"},
		{"60 K", 60, quantity.Kelvin, "60 K"},
		{"900 J", 900, quantity.Joule, "900 J"},
		{"2.5 kJ", 2500, quantity.Joule, "2.5 kJ"},
		{"1 kWh", 3.6e6, quantity.Joule, "3.6 MJ"},
		{"120000 A²·s", 120000, quantity.AmpereSquareSecond, "120000 A²·s"},
		{"12 A²s", 12, quantity.AmpereSquareSecond, "12 A²·s"},
		{"12 A^2*s", 12, quantity.AmpereSquareSecond, "12 A²·s"},
		{"35 mm²", 3.5e-5, quantity.SquareMetre, "35 mm²"},
		{"61 mm", 0.061, quantity.Metre, "61 mm"},
		{"20 kHz", 20000, quantity.Hertz, "20 kHz"},
		{"5 s⁻¹", 5, quantity.Hertz, "5 Hz"},
		{"5 s^-1", 5, quantity.Hertz, "5 Hz"},
		{"3000 rpm", 50, quantity.Hertz, "50 Hz"},
		{"12\u00A0V", 12, quantity.Volt, "12 V"},
		{"  12 V ", 12, quantity.Volt, "12 V"},
	}
	for _, tt := range tests {
		v, err := quantity.Parse(tt.text)
		require.NoError(t, err, tt.text)
		assert.Equal(t, tt.want, v.SI, tt.text)
		assert.Equal(t, tt.dim, v.Dim, tt.text)
		assert.Equal(t, tt.says, v.String(), tt.text)
	}
}

func TestParseConversions(t *testing.T) {
	tests := []struct {
		text   string
		want   float64
		source string
	}{
		{"1 lbf·ft", 1.3558179483314004, "NIST SP 811 (2008) B.8: lbf = 4.448 221 615 260 5 N and ft = 0.3048 m, both exact; table: 1.355 818 N·m"},
		{"1 ft-lb", 1.3558179483314004, "the workshop's spelling of lbf·ft"},
		{"1 lb·ft", 1.3558179483314004, "the workshop's spelling of lbf·ft"},
		{"1 lbf·in", 0.1129848290276167, "NIST SP 811 (2008) B.8: table 1.129 848 E-01 N·m"},
		{"1 kgf·m", 9.80665, "NIST SP 811 (2008) B.8: 9.806 65 N·m exactly"},
		{"1 Wh", 3600, "SI brochure, 9th edition, table 8: h = 3600 s"},
		{"0 °C", 273.15, "SI brochure, 9th edition, 2.3.1"},
		{"1 bar", 1e5, "SI brochure, 9th edition: 1 bar = 100 kPa"},
		{"60 rpm", 1, "60 revolutions a minute are one a second"},
	}
	for _, tt := range tests {
		v, err := quantity.Parse(tt.text)
		require.NoError(t, err, tt.text)
		assert.Equal(t, tt.want, v.SI, "%s: %s", tt.text, tt.source)
	}
	v, err := quantity.Parse("12.5 lbf·ft")
	require.NoError(t, err)
	assert.Equal(t, "16.95 N·m", v.String())
}

func TestParseFaults(t *testing.T) {
	tests := []struct{ text, message, hint string }{
		{"", "there is no quantity", "write a number and its unit, as in 4.7 kΩ"},
		{" \u00A0", "there is no quantity", "write a number and its unit, as in 4.7 kΩ"},
		{"1.02 mf", `"1.02 mf" is not a quantity: there is no unit "mf"`, "did you mean 1.02 mF?"},
		{"12 mv", `"12 mv" is not a quantity: there is no unit "mv"`, "did you mean 12 mV?"},
		{"12 v", `"12 v" is not a quantity: there is no unit "v"`, "did you mean 12 V?"},
		{"4.7 KΩ", `"4.7 KΩ" is not a quantity: there is no unit "KΩ"`, "did you mean 4.7 kΩ?"},
		{"5 kohn", `"5 kohn" is not a quantity: there is no unit "kohn"`, "did you mean 5 kΩ?"},
		{"5 MOhn", `"5 MOhn" is not a quantity: there is no unit "MOhn"`, "did you mean 5 MΩ?"},
		{"5 mS", `"5 mS" is not a quantity: there is no unit "mS"`, "did you mean 5 ms?"},
		{"5 volts", `"5 volts" is not a quantity: there is no unit "volts"`, "did you mean 5 V?"},
		{"12 VDC", `"12 VDC" is not a quantity: there is no unit "VDC"`, "did you mean 12 V?"},
		{"10 MF", `"10 MF" is not a quantity: there is no unit "MF"`, "write mF (millifarad) or µF (microfarad), whichever is meant"},
		{"5 ks", `"5 ks" is not a quantity: there is no unit "ks"`, "write it in s without the prefix"},
		{"45.4 M", `"45.4 M" is not a quantity: there is no unit "M"`, "write the unit after the prefix, as in 4.7 kΩ"},
		{"17 °F", `"17 °F" is not a quantity: there is no unit "°F"`, "write the temperature in °C"},
		{"12 lb", `"12 lb" is not a quantity: there is no unit "lb"`, "a torque is written 12.5 lbf·ft or 17 N·m"},
		{"12 frobs", `"12 frobs" is not a quantity: there is no unit "frobs"`, ""},
		{"1,02 mF", `"1,02 mF" has a decimal comma`, "write it with a point: 1.02 mF"},
		{"1,000 V", `"1,000 V" has a decimal comma`, "write 1000 V or 1.000 V, whichever is meant"},
		{"12 000 V", `"12 000 V" has a number with gaps`, "write the digits without gaps, or use a prefix as in 12 kΩ"},
		{"12'000 V", `"12'000 V" has a number with gaps`, "write the digits without gaps, or use a prefix as in 12 kΩ"},
		{"12_000 V", `"12_000 V" has a number with gaps`, "write the digits without gaps, or use a prefix as in 12 kΩ"},
		{"0x12 V", `"0x12 V" is a hexadecimal number`, "write it in decimal"},
		{"NaN V", `"NaN V" is not a number`, ""},
		{"inf", `"inf" is infinite, which no quantity is`, "a meter's over range is written OL"},
		{"-Infinity V", `"-Infinity V" is infinite, which no quantity is`, "a meter's over range is written OL"},
		{"OL", `"OL" is an over-range reading, not a value`, ""},
		{">2 GΩ", `">2 GΩ" is a bound, not a value`, "write the value itself, or both ends as in 47..53 Ω"},
		{"50 Ω ±5%", `"50 Ω ±5%" is a range, not a value`, ""},
		{"47..53 Ω", `"47..53 Ω" is a range, not a value`, ""},
		{"5. V", `"5. V" has a point without a digit after it`, "leave the point away: 5"},
		{"1.2.3 V", `"1.2.3 V" has a number with two points`, ""},
		{"V", `"V" is not a quantity: it does not begin with a number`, "write a number and its unit, as in 4.7 kΩ"},
		{"- 5 V", `"- 5 V" is not a quantity: it does not begin with a number`, "write a number and its unit, as in 4.7 kΩ"},
		{"--5 V", `"--5 V" is not a quantity: it does not begin with a number`, "write a number and its unit, as in 4.7 kΩ"},
		{"12 V max", `"12 V max" has something after the quantity: "max"`, ""},
		{"17 N m", `"17 N m" has something after the quantity: "m"`, "join the parts of a unit with ·, as in N·m"},
		{"12 kA²·s", `"12 kA²·s" is not a quantity: the unit "kA²·s" has a prefix on a power, which people read in two ways`, "write the number out without the prefix"},
		{"5 V/s/s", `"5 V/s/s" is not a quantity: the unit "V/s/s" has two slashes, which can be read in two ways`, "use powers, as in A·s⁻¹"},
		{"5 A/V·s", `"5 A/V·s" is not a quantity: the unit "A/V·s" has more than one unit after the slash`, "use powers, as in A·s⁻¹"},
		{"2 °C/s", `"2 °C/s" is not a quantity: the unit "°C/s" uses °C in a product`, "use K"},
		{"-300 °C", `"-300 °C" is below absolute zero`, ""},
		{"1e31 V", `"1e31 V" is too large for any quantity of a car`, ""},
		{"1e400 V", `"1e400 V" is beyond any quantity of a car`, ""},
		{"1e-99 V", `"1e-99 V" is too small for any quantity of a car`, ""},
		{"1e-9999999999999999999999 V", `"1e-9999999999999999999999 V" is beyond any quantity of a car`, ""},
		{"１2 V", `"１2 V" is not a quantity: '１' is no digit from 0 to 9`, ""},
		{"12 \u202EV", `"12 \u202eV" is not a quantity: it holds the invisible character U+202E`, "type it anew"},
		{"12\u200BV", `"12\u200bV" is not a quantity: it holds the invisible character U+200B`, "type it anew"},
		{"12\tV", `"12\tV" is not a quantity: it holds the invisible character U+0009`, "type it anew"},
		{"12\x00V", `"12\x00V" is not a quantity: it holds the invisible character U+0000`, "type it anew"},
		{"12 \xffV", `"12 \xffV" is not a quantity: it is not UTF-8 text`, "save the file as UTF-8"},
		{"1" + strings.Repeat("0", 40) + " V", `"1` + strings.Repeat("0", 40) + ` V" has more than 40 digits`, ""},
		{strings.Repeat("9", 201), `"` + strings.Repeat("9", 60) + `…" is too long to be a quantity`, ""},
		{"5 " + strings.Repeat("V·", 70) + "V", `"5 ` + strings.Repeat("V·", 29) + `…" is too long to be a quantity`, ""},
	}
	for _, tt := range tests {
		_, err := quantity.Parse(tt.text)
		var syntax *quantity.SyntaxError
		require.ErrorAs(t, err, &syntax, tt.text)
		assert.Equal(t, tt.message, syntax.Message, tt.text)
		assert.Equal(t, tt.hint, syntax.Hint, tt.text)
		assert.Equal(t, tt.text, syntax.Text)
		assert.True(t, syntax.Offset >= 0 && syntax.Offset <= len(tt.text), "%q: offset %d", tt.text, syntax.Offset)
	}
}

func TestParseOffset(t *testing.T) {
	for text, want := range map[string]int{"1.02 mf": 5, "1,02 mF": 1, " 4.7 kohn": 5, "12 V max": 5, "4.7 µv": 4} {
		_, err := quantity.Parse(text)
		var syntax *quantity.SyntaxError
		require.ErrorAs(t, err, &syntax)
		assert.Equal(t, want, syntax.Offset, text)
	}
}

// A prefix is put into the number before anything is rounded: the result is
// what strconv makes of the same digits with an exponent.
func TestParseIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := rapid.StringMatching(`-?[0-9]{1,6}(\.[0-9]{1,9})?`).Draw(t, "number")
		p := rapid.SampledFrom([]struct {
			prefix string
			shift  int
		}{{"n", -9}, {"µ", -6}, {"m", -3}, {"", 0}, {"k", 3}, {"M", 6}, {"G", 9}}).Draw(t, "prefix")
		want, err := strconv.ParseFloat(fmt.Sprintf("%se%d", number, p.shift), 64)
		require.NoError(t, err)
		v, err := quantity.Parse(number + " " + p.prefix + "Ω")
		require.NoError(t, err)
		require.Equal(t, want+0, v.SI)
	})
}

// Whatever String prints, Parse reads, and prints it again the same.
func TestParseReadsString(t *testing.T) {
	dims := []quantity.Dim{
		quantity.One, quantity.Volt, quantity.Ampere, quantity.Ohm, quantity.Farad, quantity.Second, quantity.Joule, quantity.Watt,
		quantity.Kelvin, quantity.Hertz, quantity.Coulomb, quantity.Metre, quantity.Kilogram, quantity.Newton, quantity.NewtonMetre,
		quantity.Henry, quantity.Pascal, quantity.Radian, quantity.SquareMetre, quantity.OhmPerVolt, quantity.VoltPerSecond,
		quantity.VoltSecond, quantity.AmpereSquareSecond, quantity.Volt.Pow(2), quantity.Watt.Div(quantity.Kelvin),
		{Mass: 2, Length: 1, Time: -3, Temperature: -1, Angle: 2}, quantity.Kelvin.Pow(-1),
	}
	rapid.Check(t, func(t *rapid.T) {
		v := quantity.Value{
			SI:  rapid.Float64Range(1, 10).Draw(t, "digits") * pow10(rapid.IntRange(-28, 28).Draw(t, "exponent")),
			Dim: rapid.SampledFrom(dims).Draw(t, "dimension"),
		}
		if rapid.Bool().Draw(t, "negative") {
			v.SI = -v.SI
		}
		back, err := quantity.Parse(v.String())
		require.NoError(t, err, v.String())
		require.Equal(t, v.Dim, back.Dim, v.String())
		require.InEpsilon(t, v.SI, back.SI, 5.01e-4, v.String())
		require.Equal(t, v.String(), back.String())
	})
}

func pow10(n int) float64 {
	f, _ := strconv.ParseFloat("1e"+strconv.Itoa(n), 64)
	return f
}

func TestParseUnit(t *testing.T) {
	d, err := quantity.ParseUnit("kΩ")
	require.NoError(t, err)
	assert.Equal(t, quantity.Ohm, d)
	for _, bad := range []string{"", "V A", "mf", "5 V", "±", "V ±5%", "·", "V·", "·V", "V··A", "V/", "/V", "V^", "V^0", "V²²²", "N·m·m", "N·N·m", "V-A", strings.Repeat("V·", 9) + "V"} {
		_, err := quantity.ParseUnit(bad)
		assert.Error(t, err, bad)
	}
	_, err = quantity.ParseUnit("mf")
	var syntax *quantity.SyntaxError
	require.ErrorAs(t, err, &syntax)
	assert.Equal(t, "did you mean mF?", syntax.Hint)
}
