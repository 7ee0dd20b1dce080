package entry

import (
	"fmt"
	"math"
	"strconv"
)

// FormatNumber spells a number in the one way that entries allow: plain
// decimal, no exponent, the shortest text that gives the same float64 back,
// and "0" for both zeros. A value that is not finite gives "", which no entry
// may hold.
func FormatNumber(x float64) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return ""
	}
	if x == 0 {
		return "0" // both zeros
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// ParseNumber reads what [FormatNumber] prints and nothing else.
func ParseNumber(text string) (float64, error) {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || FormatNumber(x) != text {
		return 0, fmt.Errorf("%.40q is not a number as entries spell it: plain decimal, shortest form", text)
	}
	return x, nil
}

// parseCount reads a whole number ≥ 0 without sign or leading zero.
func parseCount(text string) (int64, error) {
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || n < 0 || strconv.FormatInt(n, 10) != text {
		return 0, fmt.Errorf("%.40q is not a count: a whole number, 0 or more, without leading zeros", text)
	}
	return n, nil
}
