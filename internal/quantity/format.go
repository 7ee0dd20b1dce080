package quantity

import (
	"math"
	"strconv"
	"strings"
)

// Rounding says which way Format rounds.
type Rounding int

const (
	// RoundNearest rounds to the nearest.
	RoundNearest Rounding = iota
	// RoundDown rounds towards minus infinity.
	RoundDown
	// RoundUp rounds towards plus infinity.
	RoundUp
)

// maxDigits tells any two float64 apart.
const maxDigits = 17

// noiseDigits: before rounding up or down to fewer digits, a value is rounded
// to these many, so that 201600.00000000003, the last bit of a multiplication,
// is not printed as "at least 201.7 kΩ".
const noiseDigits = 13

// Format gives v with so many significant digits (1 to 17), without trailing
// zeros, and the prefix that people use: "201.6 kΩ", "500 ms", "3600 s",
// "500 Ω/V", "17 N·m". Charge from 360 C on is given in Ah, small areas in
// mm², temperatures in K (see Celsius). Values that no prefix suits have an
// exponent, "1e-20 V". Rounding up or down treats differences below one part
// in 10¹² as noise of the arithmetic. Zero never has a sign. What is not
// finite is "not a number", "infinite" or "minus infinite".
func Format(v Value, digits int, r Rounding) string {
	if !finite(v.SI) {
		return notFinite(v.SI)
	}
	show, x := displayOf(v)
	d := round(x, digits, r)
	if d.digits == "0" {
		return withUnit("0", show.symbol(0))
	}
	shift, exp := 0, d.exp
	for i, p := range show.prefixes {
		if i == 0 || p <= exp {
			shift = p
		}
	}
	if at := exp - shift; at < -4 || at > 9 {
		return withUnit(d.scientific(), show.symbol(0))
	}
	return withUnit(d.plain(exp-shift), show.symbol(shift))
}

// Celsius gives an absolute temperature in °C, as Format does in K. It is not
// for differences of temperatures. Without dimension Kelvin it is Format.
func Celsius(v Value, digits int, r Rounding) string {
	if v.Dim != Kelvin || !finite(v.SI) {
		return Format(v, digits, r)
	}
	// The subtraction leaves binary noise of 1e-13 K, and the zero of the
	// scale makes its relative size large: a millionth of a kelvin is enough.
	d := round(math.Round((v.SI-273.15)*1e6)/1e6, digits, r)
	if d.digits == "0" {
		return "0 °C"
	}
	return d.plain(d.exp) + " °C"
}

func notFinite(x float64) string {
	switch {
	case math.IsNaN(x):
		return "not a number"
	case x > 0:
		return "infinite"
	}
	return "minus infinite"
}

func withUnit(number, unit string) string {
	if unit == "" {
		return number
	}
	return number + " " + unit
}

// display says how values of a dimension are printed.
type display struct {
	unit     string
	dim      Dim
	prefixes []int // powers of ten, ascending
}

var displays = []display{
	{"V", Volt, []int{-6, -3, 0, 3}},
	{"A", Ampere, []int{-9, -6, -3, 0, 3}},
	{"Ω", Ohm, []int{-6, -3, 0, 3, 6, 9, 12}},
	{"F", Farad, []int{-12, -9, -6, -3, 0}},
	{"s", Second, []int{-9, -6, -3, 0}},
	{"J", Joule, []int{-6, -3, 0, 3, 6}},
	{"W", Watt, []int{-6, -3, 0, 3, 6}},
	{"Hz", Hertz, []int{0, 3, 6, 9}},
	{"C", Coulomb, []int{-9, -6, -3, 0}},
	{"H", Henry, []int{-9, -6, -3, 0}},
	{"m", Metre, []int{-6, -3, 0, 3}},
	{"N", Newton, []int{0, 3}},
	{"Pa", Pascal, []int{0, 3, 6}},
	{"Ω/V", OhmPerVolt, []int{0, 3, 6}},
	{"V/s", VoltPerSecond, []int{0, 3, 6}},
}

// displayOf chooses how to print v and gives the number in that unit.
func displayOf(v Value) (display, float64) {
	switch size := math.Abs(v.SI); {
	case v.Dim == Coulomb && size >= 360:
		return display{"Ah", Coulomb, []int{0}}, v.SI / 3600
	case v.Dim == SquareMetre && size < 0.01 && size > 1e-12:
		return display{"mm²", SquareMetre, []int{0}}, v.SI * 1e6
	}
	for _, d := range displays {
		if d.dim == v.Dim {
			return d, v.SI
		}
	}
	if v.Dim == One {
		return display{"", One, []int{0}}, v.SI
	}
	return display{v.Dim.String(), v.Dim, []int{0}}, v.SI
}

func (d display) symbol(shift int) string {
	for _, p := range prefixes {
		if p.shift == shift && shift != 0 {
			return p.letter + d.unit
		}
	}
	return d.unit
}

// decimal is ±d.ddd × 10^exp; digits has no point and no trailing zeros.
type decimal struct {
	neg    bool
	digits string
	exp    int
}

// Round gives a number to so many significant digits (1 to 17), by the same rule
// as Format: the decimal that is printed is the nearest float64 to it. What is
// not finite stays as it is.
func Round(x float64, digits int, r Rounding) float64 {
	if !finite(x) {
		return x
	}
	f, err := strconv.ParseFloat(round(x, digits, r).scientific(), 64)
	if err != nil {
		return x // beyond the largest float64: as good as it gets
	}
	return f
}

// round rounds a finite x to so many significant digits.
func round(x float64, digits int, r Rounding) decimal {
	digits = min(max(digits, 1), maxDigits)
	if x == 0 {
		return decimal{digits: "0"}
	}
	neg := x < 0
	x = math.Abs(x)
	if r == RoundNearest {
		return split(neg, strconv.FormatFloat(x, 'e', digits-1, 64))
	}
	precise := noiseDigits
	if digits >= noiseDigits {
		precise = 800 // every digit of any float64
	}
	d := split(neg, strconv.FormatFloat(x, 'e', precise-1, 64))
	if len(d.digits) <= digits {
		return d
	}
	kept := d.digits[:digits]
	if away := (r == RoundUp) != neg; away {
		kept = increment(kept)
		if len(kept) > digits {
			d.exp++
		}
	}
	d.digits = trimZeros(kept)
	return d
}

// split takes FormatFloat's 'e' form apart.
func split(neg bool, text string) decimal {
	mantissa, exponent, _ := strings.Cut(text, "e")
	exp, _ := strconv.Atoi(exponent)
	return decimal{neg, trimZeros(strings.Replace(mantissa, ".", "", 1)), exp}
}

func trimZeros(digits string) string {
	if t := strings.TrimRight(digits, "0"); t != "" {
		return t
	}
	return "0"
}

// increment adds one to the last digit.
func increment(digits string) string {
	b := []byte(digits)
	for i := len(b) - 1; i >= 0; i-- {
		if b[i] != '9' {
			b[i]++
			return string(b)
		}
		b[i] = '0'
	}
	return "1" + string(b)
}

// plain writes the digits with the first one worth 10^exp.
func (d decimal) plain(exp int) string {
	var text string
	switch n := len(d.digits); {
	case exp < 0:
		text = "0." + strings.Repeat("0", -exp-1) + d.digits
	case n <= exp+1:
		text = d.digits + strings.Repeat("0", exp+1-n)
	default:
		text = d.digits[:exp+1] + "." + d.digits[exp+1:]
	}
	return d.sign() + text
}

// scientific writes "1.234e-20".
func (d decimal) scientific() string {
	text := d.digits[:1]
	if len(d.digits) > 1 {
		text += "." + d.digits[1:]
	}
	return d.sign() + text + "e" + strconv.Itoa(d.exp)
}

func (d decimal) sign() string {
	if d.neg {
		return "-"
	}
	return ""
}
