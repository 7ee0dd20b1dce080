package quantity

import "math"

// Value is one number in SI base units with its dimension.
type Value struct {
	SI  float64
	Dim Dim
}

// String gives four significant digits with a prefix, "4.7 kΩ".
func (v Value) String() string { return Format(v, 4, RoundNearest) }

// Range is a value of a part with its tolerance: the part may be anywhere
// from Lo to Hi (SI base units, Lo ≤ Nominal ≤ Hi). It says nothing about
// how well anything was measured.
type Range struct {
	Lo, Nominal, Hi float64
	Dim             Dim
	// Text is the range as it was written, "" for a computed one.
	Text string
}

// Exact reports that the range is a single value.
func (r Range) Exact() bool { return r.Lo == r.Hi }

// Value gives the nominal value.
func (r Range) Value() Value { return Value{SI: r.Nominal, Dim: r.Dim} }

// String gives the range as it was written; a computed one as "47 Ω..53 Ω",
// four digits, rounded outward.
func (r Range) String() string {
	switch {
	case r.Text != "":
		return r.Text
	case r.Exact():
		return r.Value().String()
	}
	return Format(Value{r.Lo, r.Dim}, 4, RoundDown) + ".." + Format(Value{r.Hi, r.Dim}, 4, RoundUp)
}

// Side says whether a reading is the value itself or a bound on it.
type Side int

const (
	// Exact: the reading is the value.
	Exact Side = iota
	// Above: what was measured lies above the value.
	Above
	// Below: what was measured lies below the value.
	Below
)

// String gives "exact", "above" or "below".
func (s Side) String() string {
	switch s {
	case Above:
		return "above"
	case Below:
		return "below"
	}
	return "exact"
}

// Reading is what somebody read off an instrument and typed.
type Reading struct {
	// SI is the value in SI base units. It is 0 and means nothing when
	// OverRange is set.
	SI  float64
	Dim Dim
	// Side is Above for ">2 GΩ" and OL, Below for "<10 mΩ" and -OL.
	Side Side
	// OverRange: the instrument showed OL. Only the instrument's range tells
	// what that is a bound of.
	OverRange bool
	// Digit is the worth of the last digit typed, in SI; 0 for OL.
	Digit float64
	// UnitTyped: the unit was typed, not only a prefix or nothing.
	UnitTyped bool
	// Text is the reading as typed.
	Text string
}

// SyntaxError says why a text is not a quantity.
type SyntaxError struct {
	Text string
	// Message says what is wrong, Hint what would be right ("" if unknown).
	Message, Hint string
	// Offset is the byte in Text where the fault begins.
	Offset int
}

// Error gives the message without the hint.
func (e *SyntaxError) Error() string { return e.Message }

// finite reports that x is neither NaN nor infinite.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
