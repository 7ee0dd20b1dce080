package quantity

import (
	"strings"
	"unicode/utf8"
)

// unitError makes the error about a word that is not a unit, with the nearest
// unit as the hint. number is the number before it, "" without.
func (s *scanner) unitError(at int, word, number string, bad *unitFault) *SyntaxError {
	message, hint := "is not a quantity: the unit "+quote(word)+" "+bad.message, bad.hint
	if bad.message == notAUnit {
		message = "is not a quantity: there is no unit " + quote(word)
		if hint == "" {
			hint = meant(word, number)
		}
	}
	return s.fault(at, message, hint)
}

// notAUnit is the fault of a word that nothing is known about.
const notAUnit = "is not a unit"

// spelledOut: what people write for units that are read by their symbol only,
// and usual mishaps. Words in lower case.
var spelledOut = map[string]string{
	"volt": "V", "volts": "V", "vdc": "V", "vac": "V", "kilovolt": "kV", "millivolt": "mV",
	"amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "milliamp": "mA", "milliamps": "mA",
	"kilohm": "kΩ", "kiloohm": "kΩ", "megohm": "MΩ", "megaohm": "MΩ", "milliohm": "mΩ", "gigohm": "GΩ", "gigaohm": "GΩ", "meg": "MΩ",
	"farad": "F", "microfarad": "µF", "nanofarad": "nF", "millifarad": "mF",
	"sec": "s", "secs": "s", "second": "s", "seconds": "s", "msec": "ms", "msecs": "ms", "usec": "µs",
	"minute": "min", "minutes": "min", "mins": "min", "hr": "h", "hrs": "h", "hour": "h", "hours": "h",
	"watt": "W", "watts": "W", "joule": "J", "joules": "J", "hertz": "Hz", "kelvin": "K", "deg": "°C", "c°": "°C",
	"celsius": "°C", "percent": "%", "metre": "m", "meter": "m", "u/min": "rpm", "1/min": "rpm", "mtr": "m",
	"ftlb": "lbf·ft", "ftlbs": "lbf·ft", "ft·lbs": "lbf·ft", "lbft": "lbf·ft", "lbs·ft": "lbf·ft", "lbfft": "lbf·ft",
	"ft-lbs": "lbf·ft", "lbs-ft": "lbf·ft", "i2t": "A²·s", "as": "A·s", "mfd": "µF", "ω": "Ω",
}

// meant gives the hint for a word that is not a unit.
func meant(word, number string) string {
	word = foldSpelling.Replace(word)
	lower := strings.ToLower(word)
	say := func(unit string) string { return "did you mean " + withUnit(number, unit) + "?" }
	if number == "" {
		say = func(unit string) string { return "did you mean " + unit + "?" }
	}
	switch lower {
	case "°f", "degf", "f°":
		return "write the temperature in °C"
	case "mf", "mfd":
		if strings.HasPrefix(word, "M") {
			return "write mF (millifarad) or µF (microfarad), whichever is meant"
		}
	}
	if hint := knownMishap(word); hint != "" {
		return hint
	}
	if unit, ok := spelledOut[lower]; ok {
		return say(unit)
	}
	if unit := otherCase(word); unit != "" {
		return say(unit)
	}
	if near := nearestUnit(word); near != "" {
		return say(near)
	}
	return ""
}

// knownMishap explains a prefix alone, a prefix that the unit does not take,
// and force or length of a torque alone.
func knownMishap(word string) string {
	first, n := utf8.DecodeRuneInString(word)
	for _, p := range prefixes {
		if p.letter != string(first) && (p.letter != "µ" || first != 'u') {
			continue
		}
		if word == p.letter || word == "u" {
			return "write the unit after the prefix, as in 4.7 kΩ"
		}
		for _, s := range symbols {
			if s.name == word[n:] && !s.torque && otherCase(word) == "" {
				return "write it in " + s.name + " without the prefix"
			}
		}
	}
	for _, s := range symbols {
		if s.torque && s.name == word {
			return "a torque is written 12.5 lbf·ft or 17 N·m"
		}
	}
	return ""
}

// otherCase finds the unit that differs in upper and lower case only; one
// with the same first letter is preferred, since m and M differ in earnest.
func otherCase(word string) string {
	found := ""
	for _, name := range unitNames() {
		if strings.EqualFold(name, word) {
			a, _ := utf8.DecodeRuneInString(name)
			b, _ := utf8.DecodeRuneInString(word)
			if a == b {
				return name
			}
			if found == "" {
				found = name
			}
		}
	}
	return found
}

// unitNames gives every unit's name with each of its prefixes, and the usual
// compounds.
func unitNames() []string {
	names := []string{"N·m", "Ω/V", "V/s", "V/ms", "A²·s", "lbf·ft", "lbf·in", "mm²"}
	for _, s := range symbols {
		if s.torque {
			continue
		}
		names = append(names, s.name)
		for p := range strings.SplitSeq(s.prefixes, "") {
			names = append(names, p+s.name)
		}
	}
	return names
}

// nearestUnit finds the spelled-out word or unit of at least three letters
// that is one letter away.
func nearestUnit(word string) string {
	lower := strings.ToLower(word)
	if utf8.RuneCountInString(lower) < 3 {
		return ""
	}
	for _, name := range unitNames() {
		if utf8.RuneCountInString(name) >= 3 && oneApart([]rune(strings.ToLower(name)), []rune(lower)) {
			return name
		}
	}
	for _, spelling := range []string{"ohm", "ohms", "kohm", "mohm", "volts", "amps", "second", "seconds", "minutes", "farad"} {
		if oneApart([]rune(spelling), []rune(lower)) {
			if unit, ok := spelledOut[spelling]; ok {
				return unit
			}
			unit := strings.TrimSuffix(strings.TrimSuffix(spelling, "ohms"), "ohm") + "Ω"
			if strings.HasPrefix(word, "M") {
				unit = "MΩ"
			}
			return unit
		}
	}
	return ""
}

// oneApart reports whether one letter changed, added, left out, or two
// neighbours swapped, make a into b.
func oneApart(a, b []rune) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	switch len(b) - len(a) {
	case 1:
		return string(a[i:]) == string(b[i+1:])
	case 0:
		if i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] {
			return string(a[i+2:]) == string(b[i+2:])
		}
		return i < len(a) && string(a[i+1:]) == string(b[i+1:])
	}
	return false
}
