package capture

import "math"

// Decimate gives at most points samples of x(t) and v for drawing, in order.
// The range is cut into equal parts, and of each its first, least, greatest
// and last sample are kept: no peak is lost. Of NaN (a gap in the curve) the
// first in each part is kept. Fewer samples than points, or points below 8, give all
// indexes. The result are indexes into v, ascending.
func Decimate(v []float64, points int) []int {
	if len(v) <= points || points < 8 {
		all := make([]int, len(v))
		for i := range all {
			all[i] = i
		}
		return all
	}
	parts := points / 5
	out := make([]int, 0, points)
	for p := range parts {
		from, to := part(p, parts, len(v)), part(p+1, parts, len(v))
		out = extremes(out, v, from, to)
	}
	return out
}

// part is the first index of part p of parts.
func part(p, parts, n int) int { return int(int64(p) * int64(n) / int64(parts)) }

// extremes appends first, least, greatest, last and the first NaN of
// v[from:to], ascending.
func extremes(out []int, v []float64, from, to int) []int {
	least, greatest, none := -1, -1, -1
	for i := from; i < to; i++ {
		switch x := v[i]; {
		case math.IsNaN(x):
			if none < 0 {
				none = i
			}
		default:
			if least < 0 || x < v[least] {
				least = i
			}
			if greatest < 0 || x > v[greatest] {
				greatest = i
			}
		}
	}
	marks := [5]int{from, least, greatest, none, to - 1}
	for i := 1; i < len(marks); i++ { // five at most: by insertion
		for j := i; j > 0 && marks[j] < marks[j-1]; j-- {
			marks[j], marks[j-1] = marks[j-1], marks[j]
		}
	}
	last := -1
	for _, m := range marks {
		if m > last {
			out = append(out, m)
			last = m
		}
	}
	return out
}
