package report

import (
	"fmt"
	"math"

	"hvproof/internal/quantity"
)

// value prints a value with its expanded uncertainty: the uncertainty with
// two digits, rounded up, the value to the same place.
func value(x, u float64, dim quantity.Dim) string {
	if !(u > 0) || math.IsInf(u, 0) {
		return number(x, dim)
	}
	digits := 2
	if x != 0 {
		digits = min(max(int(math.Floor(math.Log10(math.Abs(x)))-math.Floor(math.Log10(u)))+2, 2), 9)
	}
	return fmt.Sprintf("%s ± %s", quantity.Format(quantity.Value{SI: x, Dim: dim}, digits, quantity.RoundNearest),
		quantity.Format(quantity.Value{SI: u, Dim: dim}, 2, quantity.RoundUp))
}

// number prints a value without uncertainty, six digits.
func number(x float64, dim quantity.Dim) string {
	return quantity.Format(quantity.Value{SI: x, Dim: dim}, 6, quantity.RoundNearest)
}

// beyond prints a one-sided value, rounded to the side that claims less.
func beyond(side string, x float64, dim quantity.Dim) string {
	r := quantity.RoundDown
	if side == "below" {
		r = quantity.RoundUp
	}
	return side + " " + quantity.Format(quantity.Value{SI: x, Dim: dim}, 6, r)
}

// span prints a range of the car's own tolerances, rounded outward.
func span(lo, hi float64, dim quantity.Dim) string {
	low := quantity.Format(quantity.Value{SI: lo, Dim: dim}, 6, quantity.RoundDown)
	high := quantity.Format(quantity.Value{SI: hi, Dim: dim}, 6, quantity.RoundUp)
	if low == high {
		return low
	}
	return low + " to " + high
}

// ordinal gives "1st", "2nd", "3rd", "4th", "11th".
func ordinal(n int) string {
	suffix := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			suffix = "st"
		case 2:
			suffix = "nd"
		case 3:
			suffix = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, suffix)
}

// plural gives "1 step", "2 steps".
func plural(n int, one string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %ss", n, one)
}
