package quantity

import (
	"fmt"
	"math"
)

// BoundKind says how a value is compared with a bound. The zero kind is none
// and contains nothing.
type BoundKind int

const (
	// AtLeast: x ≥ Low.
	AtLeast BoundKind = iota + 1
	// AtMost: x ≤ High.
	AtMost
	// Between: Low ≤ x ≤ High.
	Between
	// MagnitudeAtMost: |x| ≤ High, for "dead": -362 V is not below 60 V.
	MagnitudeAtMost
	// Expected: Low ≤ x ≤ High, as a window in which this car's value should
	// lie; missing it is a finding, not a fail.
	Expected
)

// String gives the key of the kind in files and JSON: "at_least" and so on.
func (k BoundKind) String() string {
	switch k {
	case AtLeast:
		return "at_least"
	case AtMost:
		return "at_most"
	case Between:
		return "between"
	case MagnitudeAtMost:
		return "magnitude_at_most"
	case Expected:
		return "expected"
	}
	return "no bound"
}

// ParseBoundKind reads what BoundKind.String gives.
func ParseBoundKind(text string) (BoundKind, bool) {
	for k := AtLeast; k <= Expected; k++ {
		if k.String() == text {
			return k, true
		}
	}
	return 0, false
}

// Bound is what a value is compared with, in SI base units. AtLeast uses Low;
// AtMost and MagnitudeAtMost use High; Between and Expected use both.
type Bound struct {
	Kind      BoundKind
	Low, High float64
	Dim       Dim
}

// Contains reports whether x meets the bound. NaN meets none.
func (b Bound) Contains(x float64) bool {
	switch b.Kind {
	case AtLeast:
		return x >= b.Low
	case AtMost:
		return x <= b.High
	case MagnitudeAtMost:
		return math.Abs(x) <= b.High
	case Between, Expected:
		return x >= b.Low && x <= b.High
	}
	return false
}

// String gives the bound in words, "at least 201.6 kΩ". Limits are rounded
// inward, so that what is printed is never easier to meet than the bound;
// expected windows are rounded outward. Four digits, and more where fewer
// would leave nothing between the ends. A difference of less than one part
// in 10¹² is taken for the rounding of the arithmetic, not for a value.
func (b Bound) String() string {
	text := func(x float64, digits int, r Rounding) string { return Format(Value{x, b.Dim}, digits, r) }
	switch b.Kind {
	case AtLeast:
		return "at least " + text(b.Low, 4, RoundUp)
	case AtMost:
		return "at most " + text(b.High, 4, RoundDown)
	case MagnitudeAtMost:
		return "magnitude at most " + text(b.High, 4, RoundDown)
	case Between:
		digits := 4
		for digits < maxDigits && b.Low <= b.High && Round(b.Low, digits, RoundUp) > Round(b.High, digits, RoundDown) {
			digits++
		}
		return fmt.Sprintf("between %s and %s", text(b.Low, digits, RoundUp), text(b.High, digits, RoundDown))
	case Expected:
		low, high := text(b.Low, 4, RoundDown), text(b.High, 4, RoundUp)
		if low == high {
			return "expected " + low
		}
		return fmt.Sprintf("expected %s to %s", low, high)
	}
	return "no bound"
}
