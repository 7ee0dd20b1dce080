package fit

import "math"

// solve gives x with m·x = g for a symmetric positive definite m.
func solve(m [3][3]float64, g [3]float64) ([3]float64, bool) {
	inv, ok := invert(m)
	if !ok {
		return g, false
	}
	var x [3]float64
	for i := range x {
		for j := range x {
			x[i] += inv[i][j] * g[j]
		}
	}
	return x, true
}

// invert gives the inverse of a symmetric positive definite matrix, scaled
// to a unit diagonal first; ok is false if it is singular to the accuracy of
// the arithmetic.
func invert(m [3][3]float64) (inv [3][3]float64, ok bool) {
	var d [3]float64
	for i := range d {
		if !(m[i][i] > 0) || math.IsInf(m[i][i], 0) {
			return inv, false
		}
		d[i] = math.Sqrt(m[i][i])
	}
	var a [3][6]float64
	for i := range 3 {
		for j := range 3 {
			a[i][j] = m[i][j] / d[i] / d[j]
		}
		a[i][3+i] = 1
	}
	for c := range 3 {
		p := c
		for r := c + 1; r < 3; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[p][c]) {
				p = r
			}
		}
		a[c], a[p] = a[p], a[c]
		if !(math.Abs(a[c][c]) > 1e-13) {
			return inv, false
		}
		f := a[c][c]
		for j := range a[c] {
			a[c][j] /= f
		}
		for r := range 3 {
			if f := a[r][c]; r != c && f != 0 {
				for j := range a[r] {
					a[r][j] -= f * a[c][j]
				}
			}
		}
	}
	for i := range 3 {
		for j := range 3 {
			inv[i][j] = a[i][3+j] / d[i] / d[j]
		}
	}
	return inv, true
}
