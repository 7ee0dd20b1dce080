package quantity

import (
	"math"
	"strings"
)

// Dim is a physical dimension: the exponents of kilogram, metre, second,
// ampere, kelvin and, to tell torque from energy, radian. Dims are compared
// with ==. The zero Dim is that of a plain number.
type Dim struct{ Mass, Length, Time, Current, Temperature, Angle int8 }

// The dimensions in use, named by their SI units. Torque is energy per
// radian, so that N·m and J do not pass for each other.
var (
	One                = Dim{}
	Kilogram           = Dim{Mass: 1}
	Metre              = Dim{Length: 1}
	SquareMetre        = Dim{Length: 2}
	Second             = Dim{Time: 1}
	Ampere             = Dim{Current: 1}
	Kelvin             = Dim{Temperature: 1}
	Radian             = Dim{Angle: 1}
	Hertz              = Dim{Time: -1}
	Newton             = Dim{Mass: 1, Length: 1, Time: -2}
	Pascal             = Dim{Mass: 1, Length: -1, Time: -2}
	Joule              = Dim{Mass: 1, Length: 2, Time: -2}
	NewtonMetre        = Dim{Mass: 1, Length: 2, Time: -2, Angle: -1}
	Watt               = Dim{Mass: 1, Length: 2, Time: -3}
	Coulomb            = Dim{Time: 1, Current: 1}
	Volt               = Dim{Mass: 1, Length: 2, Time: -3, Current: -1}
	Ohm                = Dim{Mass: 1, Length: 2, Time: -3, Current: -2}
	Farad              = Dim{Mass: -1, Length: -2, Time: 4, Current: 2}
	Henry              = Dim{Mass: 1, Length: 2, Time: -2, Current: -2}
	OhmPerVolt         = Dim{Current: -1}
	VoltPerSecond      = Dim{Mass: 1, Length: 2, Time: -4, Current: -1}
	VoltSecond         = Dim{Mass: 1, Length: 2, Time: -2, Current: -1}
	AmpereSquareSecond = Dim{Time: 1, Current: 2}
)

// outOfRange stands for every dimension with an exponent beyond ±127. It
// stays what it is under Mul, Div and Pow, so that no overflow can make a
// wrong dimension look right.
var outOfRange = Dim{math.MinInt8, math.MinInt8, math.MinInt8, math.MinInt8, math.MinInt8, math.MinInt8}

// Valid is false for a product whose exponents went beyond ±127. Such Dims
// are all equal, so that a formula must ask before it compares.
func (d Dim) Valid() bool { return d != outOfRange }

// Mul gives the dimension of a product.
func (d Dim) Mul(o Dim) Dim { return d.combine(o, 1) }

// Div gives the dimension of a quotient.
func (d Dim) Div(o Dim) Dim { return d.combine(o, -1) }

// Pow gives the dimension of the n-th power.
func (d Dim) Pow(n int) Dim {
	if n < -127 || n > 127 {
		n = 128
	}
	if d == One {
		return One
	}
	return One.combine(d, n)
}

func (d Dim) combine(o Dim, n int) Dim {
	if !d.Valid() || !o.Valid() {
		return outOfRange
	}
	a, b := d.exponents(), o.exponents()
	for i := range a {
		sum := int(a[i]) + n*int(b[i])
		if sum < -127 || sum > 127 {
			return outOfRange
		}
		a[i] = int8(sum)
	}
	return Dim{a[0], a[1], a[2], a[3], a[4], a[5]}
}

func (d Dim) exponents() [6]int8 {
	return [6]int8{d.Mass, d.Length, d.Time, d.Current, d.Temperature, d.Angle}
}

type namedDim struct {
	name string
	dim  Dim
}

// namedDims is the closed list of units in JSON and the first choice for
// text.
var namedDims = []namedDim{
	{"1", One}, {"V", Volt}, {"A", Ampere}, {"Ω", Ohm}, {"F", Farad}, {"s", Second}, {"J", Joule}, {"W", Watt},
	{"K", Kelvin}, {"Hz", Hertz}, {"C", Coulomb}, {"m", Metre}, {"kg", Kilogram}, {"N", Newton}, {"N·m", NewtonMetre},
	{"H", Henry}, {"Pa", Pascal}, {"rad", Radian}, {"m²", SquareMetre}, {"Ω/V", OhmPerVolt}, {"V/s", VoltPerSecond},
	{"V·s", VoltSecond}, {"A²·s", AmpereSquareSecond},
}

// Unit gives the base unit's name as JSON has it ("V", "N·m", "Ω/V", "1" for
// a plain number) and whether the dimension is in that closed list. If it is
// not, the name is that of String.
func (d Dim) Unit() (string, bool) {
	for _, n := range namedDims {
		if n.dim == d {
			return n.name, true
		}
	}
	return d.String(), false
}

// String gives the unit in base units: by name ("Ω/V" for 1/A), else as a
// product or quotient of two named ones ("V²", "W/K"), else in base units
// ("kg²·m·s⁻³"). Parse reads all of them but "1".
func (d Dim) String() string {
	if !d.Valid() {
		return "a power beyond 127"
	}
	for _, n := range namedDims {
		if n.dim == d {
			return n.name
		}
	}
	if name := d.pair(); name != "" {
		return name
	}
	var b strings.Builder
	for i, name := range [6]string{"kg", "m", "s", "A", "K", "rad"} {
		if e := d.exponents()[i]; e != 0 {
			if b.Len() > 0 {
				b.WriteString("·")
			}
			b.WriteString(name)
			b.WriteString(superscript(int(e)))
		}
	}
	return b.String()
}

// pair looks for a square, quotient or product of two named units.
func (d Dim) pair() string {
	parts := []namedDim{
		{"V", Volt}, {"A", Ampere}, {"Ω", Ohm}, {"F", Farad}, {"J", Joule}, {"W", Watt}, {"C", Coulomb}, {"N", Newton},
		{"kg", Kilogram}, {"m", Metre}, {"s", Second}, {"K", Kelvin}, {"rad", Radian},
	}
	for _, a := range parts {
		if a.dim.Pow(2) == d {
			return a.name + "²"
		}
	}
	for _, a := range parts {
		for _, b := range parts {
			if a.dim.Div(b.dim) == d {
				return a.name + "/" + b.name
			}
		}
	}
	for i, a := range parts {
		for _, b := range parts[i+1:] {
			if a.dim.Mul(b.dim) == d && !(a.dim == Newton && b.dim == Metre) {
				return a.name + "·" + b.name
			}
		}
	}
	return ""
}

// superscript gives "²" for 2, "⁻¹" for -1 and nothing for 1.
func superscript(n int) string {
	if n == 1 {
		return ""
	}
	var b strings.Builder
	if n < 0 {
		b.WriteString("⁻")
		n = -n
	}
	digits := []rune("⁰¹²³⁴⁵⁶⁷⁸⁹")
	if n >= 100 {
		b.WriteRune(digits[n/100])
	}
	if n >= 10 {
		b.WriteRune(digits[n/10%10])
	}
	b.WriteRune(digits[n%10])
	return b.String()
}
