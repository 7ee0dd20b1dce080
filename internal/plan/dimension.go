package plan

import (
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/quantity"
)

// dimension prints a dimension as base units with exponents. It does not use
// the names of package quantity: those may grow, the text of a plan may not
// change.
func dimension(d quantity.Dim) string {
	var b strings.Builder
	for _, u := range baseUnits(&d) {
		if *u.exponent == 0 {
			continue
		}
		if b.Len() > 0 {
			b.WriteByte('.')
		}
		b.WriteString(u.name)
		if *u.exponent != 1 {
			b.WriteString(strconv.Itoa(int(*u.exponent)))
		}
	}
	if b.Len() == 0 {
		return "1"
	}
	return b.String()
}

// parseDimension reads what dimension prints. It does not insist on the
// order; Parse compares the whole text afterwards.
func parseDimension(text string) (quantity.Dim, error) {
	var d quantity.Dim
	if text == "1" {
		return d, nil
	}
	for word := range strings.SplitSeq(text, ".") {
		i := strings.IndexAny(word, "-0123456789")
		if i < 0 {
			i = len(word)
		}
		n := int64(1)
		if i < len(word) {
			var err error
			if n, err = strconv.ParseInt(word[i:], 10, 8); err != nil {
				return quantity.Dim{}, fmt.Errorf("%q is not a dimension", text)
			}
		}
		found := false
		for _, u := range baseUnits(&d) {
			if u.name == word[:i] {
				*u.exponent, found = int8(n), true
			}
		}
		if !found {
			return quantity.Dim{}, fmt.Errorf("%q is not a dimension", text)
		}
	}
	return d, nil
}

type baseUnit struct {
	name     string
	exponent *int8
}

// baseUnits gives the base units in the order of the text, with the places
// of their exponents in d.
func baseUnits(d *quantity.Dim) [6]baseUnit {
	return [6]baseUnit{
		{"kg", &d.Mass}, {"m", &d.Length}, {"s", &d.Time},
		{"A", &d.Current}, {"K", &d.Temperature}, {"rad", &d.Angle},
	}
}
