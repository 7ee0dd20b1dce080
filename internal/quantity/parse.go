package quantity

import "math/big"

// Parse reads a value with its unit: "4.7 kΩ", "95 %" (0.95), "12 Ah"
// (43200 C), "17 °C" (290.15 K). A number without unit is a plain number. The
// result is finite and at most 1e30 in magnitude. Ranges, bounds and OL are
// refused. The error is a *SyntaxError.
func Parse(text string) (Value, error) {
	s, fault := newScanner(text)
	if fault != nil {
		return Value{}, fault
	}
	n, u, fault := s.quantity()
	if fault != nil {
		return Value{}, fault
	}
	if !s.end() {
		return Value{}, s.trailing("is a range, not a value", "")
	}
	x, fault := s.value(n, u)
	if fault != nil {
		return Value{}, fault
	}
	return Value{SI: x, Dim: u.dim}, nil
}

// value gives the number in base units.
func (s *scanner) value(n number, u unit) (float64, *SyntaxError) {
	r := n.rat(u)
	if u.celsius && r.Sign() < 0 {
		return 0, s.fault(0, belowZero, "")
	}
	return s.float(r)
}

// quantity reads a number and the unit after it, if any.
func (s *scanner) quantity() (number, unit, *SyntaxError) {
	n, fault := s.number()
	if fault != nil {
		return n, unit{}, fault
	}
	before := s.pos
	s.space()
	at := s.pos
	word := s.unitWord()
	if word == "" {
		s.pos = before
		return n, unit{}, nil
	}
	u, bad := parseUnit(word)
	if bad != nil {
		return n, unit{}, s.unitError(at, word, n.text, bad)
	}
	return n, u, nil
}

// trailing explains what stands after a quantity; rangeFault is what a sign
// of a range there means.
func (s *scanner) trailing(rangeFault, hint string) *SyntaxError {
	s.space()
	at := s.pos
	rest := s.rest()
	switch {
	case s.accept("±", "+/-", "+-", "..", "…") != "":
		s.pos = at
		return s.fault(at, rangeFault, hint)
	case s.accept("–", "—", "-", "to ") != "":
		return s.fault(at, "has something after the quantity: "+quote(rest), rangeHint)
	}
	if word := s.unitWord(); hint == "" && word != "" && s.end() {
		if _, bad := parseUnit(word); bad == nil {
			hint = "join the parts of a unit with ·, as in N·m"
		}
	}
	s.pos = at
	return s.fault(at, "has something after the quantity: "+quote(rest), hint)
}

const belowZero = "is below absolute zero"

const rangeHint = "a range is written 47..53 Ω, a tolerance 50 Ω ±5%"

// ParseRange reads a value with the tolerance of a part: "1.02 mF ±10%",
// "17 N·m ±0.5 N·m", "12 V -10%/+20%", "12 V +2 V/-1 V", "47..53 Ω", or a
// plain value, which is then exact. Percentages are of the value. The nominal
// value of "47..53 Ω" is the middle. The error is a *SyntaxError.
func ParseRange(text string) (Range, error) {
	s, fault := newScanner(text)
	if fault != nil {
		return Range{}, fault
	}
	r, fault := s.rangeOf()
	if fault != nil {
		return Range{}, fault
	}
	r.Text = text
	return r, nil
}

func (s *scanner) rangeOf() (Range, *SyntaxError) {
	n, u, fault := s.quantity()
	if fault != nil {
		return Range{}, fault
	}
	s.space()
	nominal := n.rat(u)
	lo, hi := new(big.Rat).Set(nominal), new(big.Rat).Set(nominal)
	dim := u.dim
	switch {
	case s.end():
	case s.accept("..", "…") != "":
		lo, hi, dim, fault = s.ends(n, u)
		if fault == nil {
			nominal.Add(lo, hi)
			nominal.Mul(nominal, big.NewRat(1, 2))
		}
	case s.accept("±", "+/-", "+-") != "":
		var t *big.Rat
		if t, fault = s.tolerance(n, u, "±"); fault == nil {
			lo.Sub(nominal, t)
			hi.Add(nominal, t)
		}
	default:
		fault = s.twoSided(n, u, lo, hi)
	}
	if fault != nil {
		return Range{}, fault
	}
	if !s.end() {
		return Range{}, s.trailing("has a second tolerance", "")
	}
	if u.celsius && lo.Sign() < 0 {
		return Range{}, s.fault(0, belowZero, "")
	}
	r := Range{Dim: dim}
	for _, part := range []struct {
		to   *float64
		from *big.Rat
	}{{&r.Lo, lo}, {&r.Nominal, nominal}, {&r.Hi, hi}} {
		if *part.to, fault = s.float(part.from); fault != nil {
			return Range{}, fault
		}
	}
	return r, nil
}

// ends reads the second half of "47..53 Ω"; a first number without unit has
// the second's.
func (s *scanner) ends(n number, u unit) (lo, hi *big.Rat, dim Dim, fault *SyntaxError) {
	s.accept(".")
	s.space()
	at := s.pos
	m, v, fault := s.quantity()
	if fault != nil {
		return nil, nil, Dim{}, fault
	}
	if u.dim == One && u.shift == 0 && !u.celsius {
		u = v
	}
	if u.dim != v.dim {
		return nil, nil, Dim{}, s.fault(at, "has ends in "+u.dim.String()+" and "+v.dim.String(), "write both ends in one unit, as in 47..53 Ω")
	}
	lo, hi = n.rat(u), m.rat(v)
	if u.celsius && lo.Sign() < 0 {
		return nil, nil, Dim{}, s.fault(0, belowZero, "")
	}
	if lo.Cmp(hi) > 0 {
		return nil, nil, Dim{}, s.fault(0, "has its lower end above its upper one", "write the lower end first")
	}
	return lo, hi, u.dim, nil
}

// tolerance reads "10%" or "0.5 N·m" after the sign ±, + or - and gives its
// size in base units.
func (s *scanner) tolerance(n number, u unit, sign string) (*big.Rat, *SyntaxError) {
	s.space()
	at := s.pos
	if s.accept("-", "+", "−") != "" {
		return nil, s.fault(at, "has a tolerance with two signs", "as in 12 V ±10% or 12 V -10%/+20%")
	}
	t, v, fault := s.quantity()
	if fault != nil {
		return nil, fault
	}
	share := v.dim == One && v.shift != 0
	switch {
	case share && u.dim == One && u.shift != 0:
		return nil, s.fault(at, "has a percentage of a percentage, which can be read in two ways", "write both ends, as in 94..96 %")
	case share && u.celsius:
		return nil, s.fault(at, "has a percentage of a temperature", "write it in kelvin, as in 20 °C ±2 K")
	case share && n.scaled(u).Sign() == 0:
		return nil, s.fault(at, "has a percentage of zero", "write the tolerance with its unit")
	case share && sign != "±" && n.neg:
		return nil, s.fault(at, "has unequal percentages of a negative value, which can be read in two ways", "write both ends, as in -13..-11 V")
	case share:
		size := new(big.Rat).Mul(n.scaled(u), t.scaled(v))
		if size.Abs(size).Cmp(new(big.Rat).Abs(n.scaled(u))) > 0 && sign != "+" {
			return nil, s.fault(at, "has a tolerance above 100 %", "")
		}
		return size, nil
	case v.dim == One && v.shift == 0 && u.dim != One:
		return nil, s.fault(at, "has a tolerance without unit", "write "+t.text+"% or "+t.text+" "+u.dim.String())
	case u.dim == One && u.shift == 0 && sign != "±":
		return nil, s.fault(at, "has a minus sign between two numbers", rangeHint)
	case v.dim != u.dim:
		return nil, s.fault(at, "has a tolerance in "+v.dim.String()+" on a value in "+u.dim.String(), "write both in one unit, or the tolerance in %")
	}
	return t.scaled(v), nil
}

// twoSided reads "-10%/+20%" in either order, with a slash or a space.
func (s *scanner) twoSided(n number, u unit, lo, hi *big.Rat) *SyntaxError {
	start := s.pos
	seen := ""
	for range 2 {
		s.space()
		sign := s.accept("-", "−", "+")
		if sign == "−" {
			sign = "-"
		}
		if sign == "" || sign == seen {
			s.pos = start
			if seen != "" {
				return s.fault(start, "has only one side of a tolerance", "write both, as in 12 V -10%/+20%")
			}
			return s.trailing("is a range", "")
		}
		seen = sign
		t, fault := s.tolerance(n, u, sign)
		if fault != nil {
			return fault
		}
		if sign == "-" {
			lo.Sub(lo, t)
		} else {
			hi.Add(hi, t)
		}
		s.space()
		s.accept("/")
	}
	return nil
}
