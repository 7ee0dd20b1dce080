package formula

import (
	"fmt"

	"hvproof/internal/quantity"
)

// kind names what a term is, for messages.
func (t term) kind() string {
	if t.truth {
		return "a condition"
	}
	return dimName(t.dim)
}

// dimName names a dimension as a person would.
func dimName(d quantity.Dim) string {
	if d == (quantity.Dim{}) {
		return "a plain number"
	}
	return d.String()
}

// zeroHint is the hint where a plain number meets a unit.
func zeroHint(a, b term) string {
	var none quantity.Dim
	switch {
	case a.truth || b.truth:
		return ""
	case a.dim == none && b.dim != none:
		return fmt.Sprintf("write the first with its unit, as in 1 %s", b.dim)
	case b.dim == none && a.dim != none:
		return fmt.Sprintf("write the second with its unit, as in 1 %s", a.dim)
	}
	return ""
}

// maxExponent bounds the exponents of units, far below what Dim could hold.
const maxExponent = 40

// combine multiplies (sign 1) or divides (sign -1) dimensions; ok is false if
// an exponent grows too large.
func combine(a, b quantity.Dim, sign int) (d quantity.Dim, ok bool) {
	ok = true
	each := func(x, y int8) int8 {
		e := int(x) + sign*int(y)
		ok = ok && -maxExponent <= e && e <= maxExponent
		return int8(e)
	}
	d = quantity.Dim{
		Mass: each(a.Mass, b.Mass), Length: each(a.Length, b.Length), Time: each(a.Time, b.Time),
		Current: each(a.Current, b.Current), Temperature: each(a.Temperature, b.Temperature), Angle: each(a.Angle, b.Angle),
	}
	return d, ok
}

// root halves a dimension; ok is false if it has an odd exponent.
func root(a quantity.Dim) (d quantity.Dim, ok bool) {
	ok = true
	half := func(x int8) int8 {
		ok = ok && x%2 == 0
		return x / 2
	}
	d = quantity.Dim{
		Mass: half(a.Mass), Length: half(a.Length), Time: half(a.Time),
		Current: half(a.Current), Temperature: half(a.Temperature), Angle: half(a.Angle),
	}
	return d, ok
}

// wanted checks the result of the whole formula.
func (c *checker) wanted(t *tree, got term, want Want) {
	switch {
	case want.Bool && want.Any:
	case want.Bool && !got.truth:
		c.fail(t.from, t.to, "for example has(pyro) or x.y > 1 V", "want a condition, got %s", got.kind())
	case want.Bool:
	case got.truth && want.Any:
		c.fail(t.from, t.to, "", "want a value, got a condition")
	case want.Any:
	case got.truth || got.dim != want.Dim:
		hint := ""
		if got.dim == (quantity.Dim{}) && !got.truth {
			hint = fmt.Sprintf("write the unit, as in 1 %s", want.Dim)
		}
		c.fail(t.from, t.to, hint, "want %s, got %s", dimName(want.Dim), got.kind())
	}
}
