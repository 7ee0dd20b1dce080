package hv

import (
	"math"

	"hvproof/internal/quantity"
)

// Uncertain is a value with the half-width of its uncertainty, SI.
type Uncertain struct{ X, U float64 }

// valid reports whether both numbers are finite and U is not negative.
func (u Uncertain) valid() bool {
	return !math.IsNaN(u.X) && !math.IsInf(u.X, 0) && u.U >= 0 && !math.IsInf(u.U, 0)
}

// An Estimate is a computed value with its expanded uncertainty, SI. With
// Side Above it is a lower end: the true value is above X, less U.
type Estimate struct {
	X, U float64
	Side quantity.Side
}

// Low gives the least true value that the estimate allows.
func (e Estimate) Low() float64 { return e.X - e.U }

// combine gives the expanded uncertainty of independent contributions that
// are half-widths of hard limits: each counts as rectangular, u = a/√3 (GUM,
// JCGM 100:2008, 4.3.7), U is twice the root of the sum of squares, and never
// above the sum of the half-widths.
func combine(halfWidths []float64) float64 {
	root, sum := 0.0, 0.0
	for _, a := range halfWidths {
		root = math.Hypot(root, a)
		sum += a
	}
	return math.Min(2/math.Sqrt(3)*root, sum)
}

// propagate gives the estimate of f over inputs with half-widths.
func propagate(in []Uncertain, f func(x []float64) float64) Estimate {
	base := make([]float64, len(in))
	for i, u := range in {
		base[i] = u.X
	}
	changes, infinite := contributions(in, base, f)
	if len(infinite) == 0 && !math.IsInf(f(base), 0) {
		return Estimate{X: f(base), U: combine(changes)}
	}
	// Put every input that lets the result run away to its lower end; what
	// remains is a bound from below.
	for _, i := range infinite {
		lo, hi := at(base, i, in[i].X-in[i].U), at(base, i, in[i].X+in[i].U)
		if f(lo) <= f(hi) {
			base = lo
		} else {
			base = hi
		}
	}
	x := f(base)
	if math.IsInf(x, 0) {
		return Estimate{X: x, Side: quantity.Above}
	}
	var falls []float64
	for i, u := range in {
		fall := 0.0
		for _, end := range []float64{u.X - u.U, u.X + u.U} {
			fall = math.Max(fall, x-f(at(base, i, end)))
		}
		falls = append(falls, fall)
	}
	return Estimate{X: x, U: combine(falls), Side: quantity.Above}
}

// contributions gives the largest change of f when one input goes to either
// end, and the inputs for which that, or f itself, is infinite.
func contributions(in []Uncertain, base []float64, f func([]float64) float64) (changes []float64, infinite []int) {
	x := f(base)
	for i, u := range in {
		change := 0.0
		for _, end := range []float64{u.X - u.U, u.X + u.U} {
			if y := f(at(base, i, end)); math.IsInf(x, 0) || math.IsInf(y, 0) {
				change = math.Inf(1)
			} else {
				change = math.Max(change, math.Abs(y-x))
			}
		}
		if math.IsInf(change, 0) {
			infinite = append(infinite, i)
			continue
		}
		changes = append(changes, change)
	}
	return changes, infinite
}

// at gives a copy of x with one number replaced.
func at(x []float64, i int, value float64) []float64 {
	y := append([]float64(nil), x...)
	y[i] = value
	return y
}

// parallel gives resistances in parallel; infinite ones count for nothing.
func parallel(rs ...float64) float64 {
	g := 0.0
	for _, r := range rs {
		g += 1 / r
	}
	return 1 / g
}
