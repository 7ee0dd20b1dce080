package fit

import "math"

// Crossing gives the time at which a signal passes a level for the first
// time after sample from and stays beyond it for the samples that follow,
// with its standard error. A parabola is fitted about the level, to the
// logarithm where the signal is positive: of a decay that is almost a line,
// and one that levels off bends no more than a parabola does.
func Crossing(s Samples, from int, level float64, up bool) (t, se float64, ok bool) {
	noise := math.Hypot(s.Noise(), s.Quantum()/math.Sqrt(12))
	beyond := func(y float64) bool { return (up && y >= level) || (!up && y <= level) }
	hold := 1
	if noise > 0 {
		hold = 5
	}
	first, run, i := -1, 0, max(0, from)
	for ; i < s.Len() && run < hold; i++ {
		switch y := s.Y[i]; {
		case y != y:
		case !beyond(y):
			run = 0
		default:
			if run++; run == 1 {
				first = i
			}
		}
	}
	if run < hold {
		return 0, 0, false
	}
	// The window: a tenth of the level to both sides, or six times the noise.
	room := math.Max(0.1*math.Abs(level), 6*noise)
	near := func(i int) bool { return !(math.Abs(s.Y[i]-level) > room) }
	lo, hi := first, first
	for lo > max(0, from) && near(lo-1) {
		lo--
	}
	for hi < s.Len() && near(hi) && hi-first < first-lo+8 {
		hi++
	}
	t, se, ok = bentCrossing(s, lo, hi, level, noise)
	if !ok || t < s.T(max(0, lo-1)) || t > s.T(min(hi, s.Len()-1)) {
		t, se = between(s, first, level), s.Interval()/2
	}
	return t, se, true
}

// between gives where the line from the known sample before i to sample i
// passes the level.
func between(s Samples, i int, level float64) float64 {
	for k := i - 1; k >= 0; k-- {
		if a, b := s.Y[k], s.Y[i]; a == a && a != b {
			part := math.Max(0, math.Min(1, (level-a)/(b-a)))
			return s.T(k) + part*(s.T(i)-s.T(k))
		}
	}
	return s.T(i)
}

// bentCrossing fits a parabola to the samples from ≤ i < to.
func bentCrossing(s Samples, from, to int, level, noise float64) (t, se float64, ok bool) {
	if to-from < 6 {
		return 0, 0, false
	}
	logs := level > 0
	for i := from; i < to; i++ {
		logs = logs && !(s.Y[i] <= 0)
	}
	f, unit := func(y float64) float64 { return y - level }, 1.0
	if logs {
		f, unit = func(y float64) float64 { return math.Log(y / level) }, 1/level
	}
	// Times from −1 to 1.
	mid, half := (s.T(from)+s.T(to-1))/2, (s.T(to-1)-s.T(from))/2
	var m [3][3]float64
	var g [3]float64
	n := 0.0
	each := func(add func(u, y float64)) {
		for i := from; i < to; i++ {
			if y := s.Y[i]; y == y {
				add((s.T(i)-mid)/half, f(y))
			}
		}
	}
	each(func(u, y float64) {
		p := [3]float64{1, u, u * u}
		for a := range p {
			for b := range p {
				m[a][b] += p[a] * p[b]
			}
			g[a] += p[a] * y
		}
		n++
	})
	c, ok := solve(m, g)
	if !ok || n < 6 {
		return 0, 0, false
	}
	u, ok := root(c)
	slope := c[1] + 2*c[2]*u
	if !ok || slope == 0 {
		return 0, 0, false
	}
	rss := 0.0
	each(func(u, y float64) { d := y - c[0] - c[1]*u - c[2]*u*u; rss += d * d })
	inv, _ := invert(m)
	v, p := 0.0, [3]float64{1, u, u * u}
	for a := range p {
		for b := range p {
			v += p[a] * inv[a][b] * p[b]
		}
	}
	sd := math.Max(noise*unit, math.Sqrt(rss/math.Max(1, n-3)))
	return mid + half*u, half * sd * math.Sqrt(v) / math.Abs(slope), true
}

// root gives the root of c0 + c1·u + c2·u² that is next to the middle.
func root(c [3]float64) (u float64, ok bool) {
	d := c[1]*c[1] - 4*c[0]*c[2]
	if d < 0 {
		return 0, false
	}
	q := -(c[1] + math.Copysign(math.Sqrt(d), c[1])) / 2
	if q == 0 {
		return 0, false
	}
	return c[0] / q, true // the one of lesser magnitude
}
