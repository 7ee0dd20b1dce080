package capture

// run is a column, or a piece of one, whose numbers are evenly spaced:
// (first + i·step)·10^exp for i < n. Times of a recorder mostly are, and need
// not be kept then. The step of a run of one is not known yet.
type run struct {
	on          bool // nothing was uneven so far
	first, step int64
	exp         int
	n           int
}

// runEnd is the largest number of a run, so that nothing overflows and every
// number is exact.
const runEnd = 1 << 53

// extend appends numbers, if they go on evenly.
func (r *run) extend(m []int64, exp int) bool {
	if !r.on || len(m) == 0 {
		return r.on
	}
	first, step := r.first, r.step
	switch {
	case r.n == 0:
		first = m[0]
		if len(m) > 1 {
			step = m[1] - m[0]
		}
	case exp != r.exp:
		return false
	case r.n == 1:
		step = m[0] - first
	}
	if r.n == 0 && (exp > 0 || exp < -22) {
		return false
	}
	want, odd := first+int64(r.n)*step, int64(0)
	for _, x := range m {
		odd |= x ^ want
		want += step
	}
	if odd != 0 || max(want, -want, first, -first) > runEnd {
		return false
	}
	r.first, r.step, r.exp, r.n = first, step, exp, r.n+len(m)
	return true
}

// cut takes the run back to n numbers.
func (r *run) cut(n int) { r.n = min(r.n, n) }

// at gives a number of the run.
func (r *run) at(i int) float64 { return float64(r.first+int64(i)*r.step) / tens[-r.exp] }

// append appends the run's numbers to x.
func (r *run) append(x []float64) []float64 {
	scale, m := tens[-r.exp], r.first
	for range r.n {
		x = append(x, float64(m)/scale)
		m += r.step
	}
	return x
}

// join appends another run, if it goes on evenly with this one.
func (r *run) join(next run) bool {
	if r.exp != next.exp {
		return false
	}
	step := r.step
	if r.n == 1 {
		step = next.first - r.first
	}
	if next.first != r.first+int64(r.n)*step || next.n > 1 && next.step != step {
		return false
	}
	r.step, r.n = step, r.n+next.n
	return true
}
