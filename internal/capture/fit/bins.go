package fit

import "math"

// A bin is the mean of neighbouring samples.
type bin struct {
	t, y, n float64 // n samples
	from    int     // index of the first sample
}

// bins averages samples, finely at the beginning and in steps of a hundredth
// of the time gone by later, so that an exponential that begins at the first
// sample is not blurred whatever its time constant.
func bins(s Samples) []bin {
	var out []bin
	for i := 0; i < len(s.Y); {
		to := min(len(s.Y), i+max(1, i/100))
		b := bin{from: i}
		for ; i < to; i++ {
			if y := s.Y[i]; !math.IsNaN(y) {
				b.t += s.T(i)
				b.y += y
				b.n++
			}
		}
		if b.n > 0 {
			b.t /= b.n
			b.y /= b.n
			out = append(out, b)
		}
	}
	return out
}

// sums are the moments that a straight line y = a + b·x needs.
type sums struct{ n, x, xx, y, xy, yy float64 }

func (s *sums) add(n, x, y float64) {
	s.n += n
	s.x += n * x
	s.xx += n * x * x
	s.y += n * y
	s.xy += n * x * y
	s.yy += n * y * y
}

// line solves for a, b and the sum of squares left.
func (s sums) line() (a, b, rss float64) {
	if s.n == 0 {
		return 0, 0, 0
	}
	vx, vy := s.xx-s.x*s.x/s.n, s.yy-s.y*s.y/s.n
	c := s.xy - s.x*s.y/s.n
	if vx <= 1e-14*s.xx {
		return s.y / s.n, 0, math.Max(0, vy)
	}
	b = c / vx
	return (s.y - b*s.x) / s.n, b, math.Max(0, vy-b*c)
}

// grid gives time constants to try for bins, ascending.
func grid(bs []bin) []float64 {
	if len(bs) < 2 {
		return nil
	}
	span := bs[len(bs)-1].t - bs[0].t
	least := math.Max(span/1e6, (bs[1].t-bs[0].t)/3)
	if !(span > 0) || !(least > 0) {
		return nil
	}
	const points = 160
	top := 30 * span
	if least >= top {
		return nil
	}
	f := math.Pow(top/least, 1.0/(points-1))
	out := make([]float64, points)
	tau := least
	for i := range out {
		out[i] = tau
		tau *= f
	}
	return out
}

// project gives the best line for one time constant, over bins relative to
// the level mid.
func project(bs []bin, tau, mid float64) (a, b, rss float64) {
	var s sums
	t0 := bs[0].t
	for _, p := range bs {
		s.add(p.n, math.Exp(-(p.t-t0)/tau), p.y-mid)
	}
	return s.line()
}

// search gives the time constant with the least sum of squares over bins,
// and that sum.
func search(bs []bin) (tau, rss float64) {
	mid := middle(bs)
	g := grid(bs)
	if len(g) == 0 {
		return 0, math.Inf(1)
	}
	best := 0
	rss = math.Inf(1)
	for i, t := range g {
		if _, _, r := project(bs, t, mid); r < rss {
			best, rss = i, r
		}
	}
	lo, hi := math.Log(g[max(0, best-1)]), math.Log(g[min(len(g)-1, best+1)])
	const golden = 0.6180339887498949
	f := func(x float64) float64 { _, _, r := project(bs, math.Exp(x), mid); return r }
	x1, x2 := hi-golden*(hi-lo), lo+golden*(hi-lo)
	f1, f2 := f(x1), f(x2)
	for range 40 {
		if f1 < f2 {
			hi, x2, f2 = x2, x1, f1
			x1 = hi - golden*(hi-lo)
			f1 = f(x1)
		} else {
			lo, x1, f1 = x1, x2, f2
			x2 = lo + golden*(hi-lo)
			f2 = f(x2)
		}
		if hi-lo < 1e-7 {
			break
		}
	}
	if m := f((lo + hi) / 2); m <= rss {
		return math.Exp((lo + hi) / 2), m
	}
	return g[best], rss
}

// middle gives the mean level of bins.
func middle(bs []bin) float64 {
	var y, n float64
	for _, b := range bs {
		y += b.n * b.y
		n += b.n
	}
	if n == 0 {
		return 0
	}
	return y / n
}

// split finds the bin k at which two exponentials, one before it and one from
// it on, leave the least sum of squares. Each side keeps at least side bins.
func split(bs []bin, side int) (k int, rss float64) {
	n := len(bs)
	if n < 2*side {
		return 0, math.Inf(1)
	}
	mid := middle(bs)
	before, after := make([]float64, n+1), make([]float64, n+1)
	for i := range before {
		before[i], after[i] = math.Inf(1), math.Inf(1)
	}
	t0 := bs[0].t
	x := make([]float64, n)
	try := func(taus []float64, forward bool) {
		for _, tau := range taus {
			for i, b := range bs {
				x[i] = math.Exp(-(b.t - t0) / tau)
			}
			var s sums
			if forward {
				for i, b := range bs {
					s.add(b.n, x[i], b.y-mid)
					if _, _, r := s.line(); r < before[i+1] {
						before[i+1] = r
					}
				}
				continue
			}
			for i := n - 1; i >= 0; i-- {
				s.add(bs[i].n, x[i], bs[i].y-mid)
				if _, _, r := s.line(); r < after[i] {
					after[i] = r
				}
			}
		}
	}
	best := func() {
		k, rss = 0, math.Inf(1)
		for i := side; i <= n-side; i++ {
			if r := before[i] + after[i]; r < rss {
				k, rss = i, r
			}
		}
	}
	g := grid(bs)
	try(g, true)
	try(g, false)
	best()
	for range 3 { // the grid is coarse: refine both time constants, look again
		if k == 0 {
			return 0, math.Inf(1)
		}
		was := k
		left, _ := search(bs[:k])
		right, _ := search(bs[k:])
		if left > 0 {
			try([]float64{left}, true)
		}
		if right > 0 {
			try([]float64{right}, false)
		}
		if best(); k == was {
			break
		}
	}
	return k, rss
}
