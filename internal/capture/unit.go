package capture

import (
	"strings"

	"hvproof/internal/quantity"
)

// unit is a unit of a column: a number n of it is n·10^shift, or
// (n − zero)·gain where affine, in SI units of dim.
type unit struct {
	text       string
	dim        quantity.Dim
	shift      int
	affine     bool
	gain, zero float64
}

// words are units as instruments spell them out.
var words = map[string]string{
	"second": "s", "seconds": "s", "sec": "s", "secs": "s", "sek": "s", "msec": "ms", "usec": "µs", "nsec": "ns",
	"millisecond": "ms", "milliseconds": "ms", "microsecond": "µs", "microseconds": "µs",
	"minute": "min", "minutes": "min", "hour": "h", "hours": "h",
	"volt": "V", "volts": "V", "millivolt": "mV", "millivolts": "mV", "kilovolt": "kV", "kilovolts": "kV",
	"vdc": "V", "vac": "V", "mvdc": "mV",
	"amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "milliamp": "mA", "milliamps": "mA", "adc": "A",
	"watt": "W", "watts": "W", "hertz": "Hz",
	"degc": "°C", "celsius": "°C", "percent": "%",
}

// powers are the prefixes a unit can have.
var powers = map[rune]int{'p': -12, 'n': -9, 'u': -6, 'µ': -6, 'μ': -6, 'm': -3, 'k': 3, 'K': 3, 'M': 6, 'G': 9}

// plain are the units that take a prefix.
var plain = map[string]quantity.Dim{
	"s": quantity.Second, "V": quantity.Volt, "A": quantity.Ampere, "Ω": quantity.Ohm, "\u2126": quantity.Ohm,
	"W": quantity.Watt, "Hz": quantity.Hertz, "F": quantity.Farad, "J": quantity.Joule, "C": quantity.Coulomb,
}

// unitOf reads a unit as a file has it. Case counts: "mV" is not "MV".
func unitOf(text string) (unit, bool) {
	text = strings.TrimSpace(text)
	u := unit{text: text}
	// "mOhm" and "MOhm" differ by their first letter only.
	if lower := strings.ToLower(text); strings.HasSuffix(lower, "ohm") || strings.HasSuffix(lower, "ohms") {
		k := strings.Index(lower, "ohm")
		text = text[:k] + "Ω"
	} else if plainWord, ok := words[lower]; ok {
		text = plainWord
	}
	switch text {
	case "min":
		u.dim, u.affine, u.gain = quantity.Second, true, 60
		return u, true
	case "h":
		u.dim, u.affine, u.gain = quantity.Second, true, 3600
		return u, true
	case "°C", "℃":
		u.dim, u.affine, u.gain, u.zero = quantity.Kelvin, true, 1, -273.15
		return u, true
	case "K":
		u.dim = quantity.Kelvin
		return u, true
	case "%":
		u.shift = -2
		return u, true
	}
	if dim, ok := plain[text]; ok {
		u.dim = dim
		return u, true
	}
	for first, power := range powers {
		if rest, cut := strings.CutPrefix(text, string(first)); cut {
			if dim, ok := plain[rest]; ok {
				u.dim, u.shift = dim, power
				return u, true
			}
		}
	}
	return u, false
}

// nameAndUnit parts "Time [ms]", "Link (V)", "t/ms" and "Voltage in V".
func nameAndUnit(text string) (name, unit string) {
	text = strings.TrimSpace(text)
	for _, pair := range []string{"()", "[]", "{}", "<>"} {
		if inner, ok := strings.CutSuffix(text, pair[1:]); ok {
			if k := strings.LastIndex(inner, pair[:1]); k >= 0 {
				if _, known := unitOf(inner[k+1:]); known {
					return strings.TrimSpace(inner[:k]), strings.TrimSpace(inner[k+1:])
				}
			}
		}
	}
	for _, between := range []string{"/", " in ", ", "} {
		if k := strings.LastIndex(text, between); k > 0 {
			if _, known := unitOf(text[k+len(between):]); known {
				return strings.TrimSpace(text[:k]), strings.TrimSpace(text[k+len(between):])
			}
		}
	}
	return text, ""
}

// bracketed takes the brackets off a unit that stands alone: "(ms)".
func bracketed(text string) string {
	text = strings.TrimSpace(text)
	if n := len(text); n > 2 {
		if strings.Contains("()[]{}", text[:1]+text[n-1:]) {
			return strings.TrimSpace(text[1 : n-1])
		}
	}
	return text
}
