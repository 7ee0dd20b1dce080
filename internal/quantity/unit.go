package quantity

import (
	"math/big"
	"strings"
	"unicode"
	"unicode/utf8"
)

type prefix struct {
	letter string
	shift  int
}

// prefixes: SI brochure, 9th edition (2019), table 7.
var prefixes = []prefix{
	{"p", -12}, {"n", -9}, {"µ", -6}, {"m", -3}, {"c", -2}, {"k", 3}, {"M", 6}, {"G", 9}, {"T", 12},
}

// symbol is one named unit: num/den × 10^shift of the base unit of dim.
type symbol struct {
	name     string
	dim      Dim
	prefixes string // letters that may stand before it
	num, den int64  // 0 means 1
	shift    int
	celsius  bool // counts from 273.15 K
	torque   bool // only as one of force · length
}

// Conversions: 1 h = 3600 s, 1 min = 60 s, SI brochure, 9th edition, table 8.
// 0 °C = 273.15 K, SI brochure 2.3.1. 1 bar = 100 kPa, 1 lbf =
// 4.448 221 615 260 5 N and 1 kgf = 9.806 65 N, 1 ft = 0.3048 m, 1 in =
// 0.0254 m, all exact: NIST SP 811 (2008), appendix B.8 and footnotes. Hence
// 1 lbf·ft = 1.355 817 948 331 400 4 N·m exactly.
var symbols = []symbol{
	{name: "V", dim: Volt, prefixes: "nµmkM"},
	{name: "A", dim: Ampere, prefixes: "pnµmk"},
	{name: "Ω", dim: Ohm, prefixes: "nµmkMGT"},
	{name: "F", dim: Farad, prefixes: "pnµm"},
	{name: "C", dim: Coulomb, prefixes: "pnµmk"},
	{name: "H", dim: Henry, prefixes: "nµm"},
	{name: "W", dim: Watt, prefixes: "nµmkM"},
	{name: "J", dim: Joule, prefixes: "nµmkM"},
	{name: "Hz", dim: Hertz, prefixes: "mkMG"},
	{name: "s", dim: Second, prefixes: "pnµm"},
	{name: "min", dim: Second, num: 60},
	{name: "h", dim: Second, num: 3600},
	{name: "Ah", dim: Coulomb, prefixes: "m", num: 3600},
	{name: "Wh", dim: Joule, prefixes: "mkM", num: 3600},
	{name: "K", dim: Kelvin, prefixes: "m"},
	{name: "°C", dim: Kelvin, celsius: true},
	{name: "%", dim: One, shift: -2},
	{name: "ppm", dim: One, shift: -6},
	{name: "rpm", dim: Hertz, den: 60},
	{name: "rad", dim: Radian, prefixes: "m"},
	{name: "m", dim: Metre, prefixes: "nµmck"},
	{name: "kg", dim: Kilogram},
	{name: "g", dim: Kilogram, prefixes: "µm", shift: -3},
	{name: "N", dim: Newton, prefixes: "mck"},
	{name: "Nm", dim: NewtonMetre, prefixes: "mck"},
	{name: "Pa", dim: Pascal, prefixes: "mkM"},
	{name: "bar", dim: Pascal, prefixes: "m", shift: 5},
	{name: "lbf", dim: Newton, num: 44482216152605, shift: -13, torque: true},
	{name: "lb", dim: Newton, num: 44482216152605, shift: -13, torque: true},
	{name: "kgf", dim: Newton, num: 980665, shift: -5, torque: true},
	{name: "ft", dim: Metre, num: 3048, shift: -4, torque: true},
	{name: "in", dim: Metre, num: 254, shift: -4, torque: true},
}

// unit is what a unit's text is worth in base units: ratio × 10^shift.
type unit struct {
	dim     Dim
	ratio   *big.Rat // nil means 1
	shift   int
	celsius bool
}

// apply multiplies unit u by the power-th power of a symbol with prefix.
func (u *unit) apply(s symbol, prefixShift, power int) {
	u.dim = u.dim.Mul(s.dim.Pow(power))
	u.shift += (s.shift + prefixShift) * power
	if s.num > 1 || s.den > 1 {
		if u.ratio == nil {
			u.ratio = big.NewRat(1, 1)
		}
		factor := big.NewRat(max(s.num, 1), max(s.den, 1))
		if power < 0 {
			factor.Inv(factor)
			power = -power
		}
		for range power {
			u.ratio.Mul(u.ratio, factor)
		}
	}
}

// unitFault says why a word is not a unit; hints are made by the caller who
// knows the number.
type unitFault struct{ message, hint string }

// ParseUnit reads a unit alone, "kΩ", and gives its dimension.
func ParseUnit(text string) (Dim, error) {
	s, fault := newScanner(text)
	if fault != nil {
		return Dim{}, fault
	}
	at := s.pos
	word := s.unitWord()
	if word == "" || !s.end() {
		return Dim{}, s.fault(at, "is not a unit", "")
	}
	u, bad := parseUnit(word)
	if bad != nil {
		return Dim{}, s.unitError(at, word, "", bad)
	}
	return u.dim, nil
}

// foldSpelling makes the spellings of one unit the same.
var foldSpelling = strings.NewReplacer(
	"\u2126", "Ω", "\u03BC", "µ", "\u212A", "K", "℃", "°C", "degC", "°C",
	"ohms", "Ω", "ohm", "Ω", "Ohms", "Ω", "Ohm", "Ω",
	"⋅", "·", "∙", "·", "•", "·", "*", "·", ".", "·",
)

// parseUnit reads a word that unitWord found.
func parseUnit(word string) (unit, *unitFault) {
	word = foldSpelling.Replace(word)
	top, bottom, quotient := strings.Cut(word, "/")
	if strings.Contains(bottom, "/") {
		return unit{}, &unitFault{"has two slashes, which can be read in two ways", "use powers, as in A·s⁻¹"}
	}
	hyphen := strings.Contains(top, "-") && !strings.Contains(top, "^-")
	if hyphen {
		top = strings.ReplaceAll(top, "-", "·")
	}
	factors, fault := parseFactors(top)
	if fault != nil {
		return unit{}, fault
	}
	torque, fault := pairTorque(factors)
	if fault != nil {
		return unit{}, fault
	}
	if hyphen && !torque {
		return unit{}, &unitFault{message: "is not a unit"}
	}
	if quotient {
		below, fault := parseFactors(bottom)
		if fault != nil {
			return unit{}, fault
		}
		if len(below) != 1 {
			return unit{}, &unitFault{"has more than one unit after the slash", "use powers, as in A·s⁻¹"}
		}
		below[0].power = -below[0].power
		factors = append(factors, below[0])
	}
	var u unit
	for _, f := range factors {
		switch {
		case f.sym.celsius && (len(factors) > 1 || f.power != 1):
			return unit{}, &unitFault{"uses °C in a product", "use K"}
		case f.shift != 0 && f.power != 1 && f.power != -1 && f.sym.dim != Metre:
			return unit{}, &unitFault{"has a prefix on a power, which people read in two ways", "write the number out without the prefix"}
		case f.sym.torque && !torque:
			return unit{}, &unitFault{message: "is not a unit"}
		}
		u.apply(f.sym, f.shift, f.power)
		u.celsius = f.sym.celsius
	}
	if torque {
		u.dim = u.dim.Div(Radian)
	}
	if !u.dim.Valid() {
		return unit{}, &unitFault{message: "has powers beyond all sense"}
	}
	return u, nil
}

// pairTorque reports whether the factors have force · length, which is read
// as a torque.
func pairTorque(factors []factor) (bool, *unitFault) {
	force, length := 0, 0
	for _, f := range factors {
		if f.power != 1 {
			continue
		}
		switch f.sym.dim {
		case Newton:
			force++
		case Metre:
			length++
		}
	}
	if force > 1 || force == 1 && length > 1 {
		return false, &unitFault{message: "is not a unit"}
	}
	return force == 1 && length == 1, nil
}

type factor struct {
	sym          symbol
	shift, power int
}

// parseFactors reads "kA²·s", also "A²s".
func parseFactors(text string) ([]factor, *unitFault) {
	var out []factor
	for part := range strings.SplitSeq(text, "·") {
		for part != "" {
			n := strings.IndexFunc(part, isPower)
			if n < 0 {
				n = len(part)
			}
			name, rest := part[:n], part[n:]
			power, after, ok := parsePower(rest)
			sym, shift, known := findSymbol(name)
			if !ok || !known || len(out) == 8 {
				return nil, &unitFault{message: "is not a unit"}
			}
			out = append(out, factor{sym, shift, power})
			if part = after; part == "" {
				break
			}
		}
	}
	if len(out) == 0 || strings.HasPrefix(text, "·") || strings.HasSuffix(text, "·") || strings.Contains(text, "··") {
		return nil, &unitFault{message: "is not a unit"}
	}
	return out, nil
}

const superscripts = "⁰¹²³⁴⁵⁶⁷⁸⁹"

func isPower(r rune) bool { return r == '^' || r == '⁻' || strings.ContainsRune(superscripts, r) }

// parsePower reads "²", "⁻¹", "^2", "^-1" from the front; nothing is 1.
func parsePower(text string) (power int, rest string, ok bool) {
	if text == "" {
		return 1, "", true
	}
	sign, digits := 1, 0
	plain := strings.HasPrefix(text, "^")
	text = strings.TrimPrefix(text, "^")
	for _, minus := range []string{"⁻", "-"} {
		if t, found := strings.CutPrefix(text, minus); found && (minus == "-") == plain {
			sign, text = -1, t
			break
		}
	}
	for text != "" {
		r, n := utf8.DecodeRuneInString(text)
		d := -1
		if plain && r >= '0' && r <= '9' {
			d = int(r - '0')
		}
		if i := strings.Index(superscripts, string(r)); !plain && i >= 0 {
			d = utf8.RuneCountInString(superscripts[:i])
		}
		if d < 0 {
			break
		}
		power, text = power*10+d, text[n:]
		if digits++; digits > 2 {
			return 0, "", false
		}
	}
	return sign * power, text, power != 0
}

// findSymbol finds a unit's name, with or without prefix.
func findSymbol(name string) (s symbol, shift int, ok bool) {
	for _, s := range symbols {
		if s.name == name {
			return s, 0, true
		}
	}
	r, n := utf8.DecodeRuneInString(name)
	if r == 'u' {
		r = 'µ'
	}
	for _, p := range prefixes {
		if p.letter != string(r) {
			continue
		}
		for _, s := range symbols {
			if s.name == name[n:] && strings.Contains(s.prefixes, p.letter) {
				return s, p.shift, true
			}
		}
	}
	return symbol{}, 0, false
}

// isUnitRune reports whether r can be part of a unit's name.
func isUnitRune(r rune) bool { return unicode.IsLetter(r) || r == '°' || r == '℃' }
