package formula

import "math"

// Directed rounding. Each function returns the float64 next to the exact
// result on the side that its name says, or the exact result where it is a
// float64. The sign of the rounding error comes from error-free
// transformations (Knuth's two-sum; the residual of a product, quotient or
// root by fused multiply-add); where those may underflow or overflow the
// neighbour is taken. Infinite operands occur in derivatives only.

// tiny bounds the range in which a residual cannot underflow: 2^-960.
const tiny = 0x1p-960

func down(x float64) float64 { return math.Nextafter(x, math.Inf(-1)) }
func up(x float64) float64   { return math.Nextafter(x, math.Inf(1)) }

// lower corrects a rounded result by the sign of exact - rounded.
func lower(rounded, residual float64) float64 {
	switch {
	case math.IsNaN(rounded):
		return math.Inf(-1)
	case math.IsInf(rounded, 0):
		return rounded
	case residual >= 0: // false for NaN
		return rounded
	}
	return down(rounded)
}

func addDown(a, b float64) float64 {
	s := a + b
	if math.IsInf(s, 1) && !math.IsInf(a, 0) && !math.IsInf(b, 0) {
		return math.MaxFloat64
	}
	t := s - a
	return lower(s, (a-(s-t))+(b-t))
}

func mulDown(a, b float64) float64 {
	if a == 0 || b == 0 {
		return 0 // also 0 times an unbounded derivative
	}
	p := a * b
	if math.IsInf(p, 1) && !math.IsInf(a, 0) && !math.IsInf(b, 0) {
		return math.MaxFloat64
	}
	if math.Abs(p) < tiny {
		return down(p)
	}
	return lower(p, math.FMA(a, b, -p))
}

// divDown needs b != 0.
func divDown(a, b float64) float64 {
	if a == 0 {
		return 0
	}
	q := a / b
	switch {
	case math.IsInf(q, 1) && !math.IsInf(a, 0):
		return math.MaxFloat64
	case math.Abs(q) < tiny, math.Abs(a) < tiny, math.IsInf(b, 0):
		return down(q)
	}
	residual := math.FMA(-q, b, a)
	if b < 0 {
		residual = -residual
	}
	return lower(q, residual)
}

func sqrtDown(a float64) float64 {
	s := math.Sqrt(a)
	if a == 0 {
		return 0
	}
	if a < tiny {
		return down(s)
	}
	return lower(s, math.FMA(-s, s, a))
}

func addUp(a, b float64) float64 { return -addDown(-a, -b) }
func mulUp(a, b float64) float64 { return -mulDown(-a, b) }
func divUp(a, b float64) float64 { return -divDown(-a, b) }

func sqrtUp(a float64) float64 {
	s := math.Sqrt(a)
	switch {
	case a == 0:
		return 0
	case a < tiny || math.FMA(-s, s, a) > 0:
		return up(s)
	}
	return s
}

// The elementary functions of package math are taken to be good to two units
// in the last place; its own documentation claims less than one.

func logDown(a float64) float64 { return down(down(math.Log(a))) }
func logUp(a float64) float64   { return up(up(math.Log(a))) }
func expDown(a float64) float64 { return max(0, down(down(math.Exp(a)))) }
func expUp(a float64) float64   { return up(up(math.Exp(a))) }
