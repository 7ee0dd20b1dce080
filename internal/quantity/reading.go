package quantity

import (
	"strings"
	"unicode/utf8"
)

// ParseReading reads what somebody typed off an instrument at a step that
// reads dimension dim: "45.4 MΩ", "45.4 M" (the unit is then the step's),
// ">2 GΩ", "<0.01 Ω", "OL", "-OL", "OL MΩ". A number without any unit is
// refused, but for plain numbers, since 412 may be Ω, kΩ or MΩ. The error is
// a *SyntaxError.
func ParseReading(text string, dim Dim) (Reading, error) {
	s, fault := newScanner(text)
	if fault != nil {
		return Reading{}, fault
	}
	r, fault := s.reading(dim)
	if fault != nil {
		return Reading{}, fault
	}
	r.Text, r.Dim = text, dim
	return r, nil
}

func (s *scanner) reading(dim Dim) (Reading, *SyntaxError) {
	if r, over, fault := s.overRange(dim); over || fault != nil {
		return r, fault
	}
	var r Reading
	switch s.accept(">=", "<=", ">", "<", "≥", "≤") {
	case ">", ">=", "≥":
		r.Side = Above
	case "<", "<=", "≤":
		r.Side = Below
	}
	s.space()
	n, fault := s.number()
	if fault != nil {
		return Reading{}, fault
	}
	u, typed, fault := s.readingUnit(n, dim)
	if fault != nil {
		return Reading{}, fault
	}
	if !s.end() {
		return Reading{}, s.trailing("is a range, not a reading", "type what the meter shows, one value")
	}
	r.UnitTyped = typed
	if r.SI, fault = s.value(n, u); fault != nil {
		return Reading{}, fault
	}
	last := number{digits: "1", exp: n.exp}
	if r.Digit, fault = s.float(last.scaled(u)); fault != nil {
		return Reading{}, fault
	}
	return r, nil
}

// readingUnit reads the unit of a reading, or its prefix, or nothing where
// the reading is a plain number.
func (s *scanner) readingUnit(n number, dim Dim) (u unit, typed bool, fault *SyntaxError) {
	s.space()
	at := s.pos
	word := s.unitWord()
	if word == "" {
		if dim != One {
			return unit{}, false, s.fault(at, "has no unit", n.text+" "+unitChoice(dim))
		}
		return unit{}, false, nil
	}
	u, bad := parseUnit(word)
	if bad == nil && u.dim == dim {
		return u, true, nil
	}
	if prefixed, ok := prefixAlone(word, dim); ok {
		return prefixed, false, nil
	}
	if bad != nil {
		return unit{}, false, s.unitError(at, word, n.text, bad)
	}
	hint := "this step reads " + dim.String() + ": " + n.text + " " + unitChoice(dim)
	switch {
	case dim == One:
		hint = "this step reads plain numbers, without unit"
	case word == "C" && dim == Kelvin:
		hint = "did you mean " + n.text + " °C?"
	}
	return unit{}, false, s.fault(at, "is in "+u.dim.String()+", not in "+dim.String(), hint)
}

// prefixAlone reads "M" as the prefix of the step's unit.
func prefixAlone(word string, dim Dim) (unit, bool) {
	word = foldSpelling.Replace(word)
	if word == "u" {
		word = "µ"
	}
	if utf8.RuneCountInString(word) != 1 || word == "c" {
		return unit{}, false
	}
	for _, p := range prefixes {
		if p.letter == word {
			u, bad := parseUnit(word + dim.String())
			return u, bad == nil && u.dim == dim && u.shift == p.shift
		}
	}
	return unit{}, false
}

// overRange reads "OL", "O.L", "-OL", with or without the meter's unit.
func (s *scanner) overRange(dim Dim) (r Reading, over bool, fault *SyntaxError) {
	start := s.pos
	r = Reading{OverRange: true, Side: Above}
	switch s.accept("-", "−", "+", ">") {
	case "-", "−":
		r.Side = Below
	}
	s.space()
	upper := strings.ToUpper(s.rest())
	switch {
	case strings.HasPrefix(upper, "O.L"):
		s.pos += 3
	case strings.HasPrefix(upper, "OL"):
		s.pos += 2
	default:
		s.pos = start
		return Reading{}, false, nil
	}
	if s.end() {
		return r, true, nil
	}
	at := s.pos
	word := s.unitWord()
	u, bad := parseUnit(word)
	if _, prefix := prefixAlone(word, dim); !s.end() || !prefix && (bad != nil || u.dim != dim) {
		return Reading{}, false, s.fault(at, "is not a reading in "+dim.String(), "type OL and nothing else")
	}
	r.UnitTyped = bad == nil && u.dim == dim
	return r, true, nil
}

// unitChoice gives the units to choose from, "Ω, kΩ or MΩ?".
func unitChoice(dim Dim) string {
	choices := map[Dim]string{
		Ohm: "Ω, kΩ or MΩ?", Volt: "V or mV?", Ampere: "A or mA?", Second: "s or ms?", Farad: "nF, µF or mF?",
		Kelvin: "°C?", NewtonMetre: "N·m or lbf·ft?", Joule: "J or kJ?", Metre: "mm or m?", Hertz: "Hz or rpm?",
	}
	if c, ok := choices[dim]; ok {
		return c
	}
	return dim.String() + "?"
}
