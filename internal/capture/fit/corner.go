package fit

import "math"

// A corner is what parabolas through the samples on both sides of a place say
// of it.
type corner struct {
	i             int     // first sample after the bend
	before, after float64 // slopes at the bend if nothing jumps there, per second
	turnSE        float64 // standard error of their difference
	excess        float64 // squares that a bend leaves more than a jump, in variances
	misfit        float64 // by how many standard deviations the squares left are too many
	length        float64 // s that the shorter parabola spans
}

const (
	// cornerReach is how far from a break its corner is looked for, and
	// cornerSpan how far the parabolas reach, in time constants: over half a
	// time constant a parabola misses an exponential by less than a thousandth
	// (own choice; the circuits and seeds of the tests).
	cornerReach, cornerSpan = 0.25, 0.5
	// cornerPlaces is the number of places tried on each side.
	cornerPlaces = 24
	// parabolaMost is the number of samples that a parabola looks at at most,
	// evenly chosen, so that long recordings take no longer.
	parabolaMost = 4096
)

// corner looks for the place near sample i where two parabolas that meet
// describe the samples best, each over so many time constants, and tells by how much worse they do than two
// that need not meet.
func (f *finder) corner(s Samples, i int, spans, tauL, tauR float64) (corner, bool) {
	dt := s.Interval()
	tau := math.Min(math.Min(tauL, tauR), s.T(s.Len()-1)-s.T(0))
	reach, span := int(math.Max(4, cornerReach*tau/dt)), int(math.Max(8, spans*tau/dt))
	from, to := max(0, i-span), min(s.Len(), i+span)
	stride := max(1, reach/cornerPlaces)
	var best corner
	bend, jump := math.Inf(1), math.Inf(1)
	for at := i - reach/stride*stride; at <= i+reach; at += stride {
		if at-from < 4 || to-at < 4 {
			continue
		}
		t, half := (s.T(at-1)+s.T(at))/2, (s.T(to-1)-s.T(from))/2
		l, okL := parabola(s.Slice(from, at), t, half)
		r, okR := parabola(s.Slice(at, to), t, half)
		if !okL || !okR {
			continue
		}
		// Least squares under the condition that both meet, from those without.
		d, v, c := r.at-l.at, r.cov[0][0]+l.cov[0][0], r.cov[0][1]+l.cov[0][1]
		rss := l.rss + r.rss
		jump = math.Min(jump, rss)
		if rss += d * d / v; rss >= bend {
			continue
		}
		bend = rss
		n := math.Max(1, l.n+r.n-5)
		sd := math.Sqrt(math.Max(f.variance(), rss/n))
		best = corner{
			i: at, misfit: (rss/f.variance() - n) / math.Sqrt(2*n), length: math.Min(s.T(to-1)-t, t-s.T(from)),
			before: (l.slope + l.cov[0][1]*d/v) / half,
			after:  (r.slope - r.cov[0][1]*d/v) / half,
			turnSE: sd * math.Sqrt(math.Max(0, l.cov[1][1]+r.cov[1][1]-c*c/v)) / half,
		}
	}
	best.excess = (bend - jump) / f.variance()
	return best, !math.IsInf(bend, 0)
}

// A parabolic is a parabola through samples: level and slope at one time, the
// inverse of its normal matrix, and what it leaves.
type parabolic struct {
	at, slope float64
	cov       [3][3]float64
	rss, n    float64
}

// parabola fits one to samples, about the time t in units of scale.
func parabola(s Samples, t, scale float64) (parabolic, bool) {
	var m [3][3]float64
	var g [3]float64
	var p parabolic
	if s.Len() == 0 || !(scale > 0) {
		return p, false
	}
	mid := s.Y[s.Len()/2]
	if mid != mid {
		mid = 0
	}
	yy := 0.0
	stride := 1 + s.Len()/parabolaMost
	for i := 0; i < s.Len(); i += stride {
		y := s.Y[i]
		if y != y {
			continue
		}
		y -= mid
		x := (s.T(i) - t) / scale
		xx := x * x
		m[0][0]++
		m[0][1] += x
		m[0][2] += xx
		m[1][2] += x * xx
		m[2][2] += xx * xx
		g[0] += y
		g[1] += x * y
		g[2] += xx * y
		yy += y * y
	}
	m[1][1] = m[0][2]
	m[1][0], m[2][0], m[2][1] = m[0][1], m[0][2], m[1][2]
	var ok bool
	if p.cov, ok = invert(m); !ok || m[0][0] < 4 {
		return p, false
	}
	a, _ := solve(m, g)
	p.at, p.slope, p.n = a[0]+mid, a[1], m[0][0]
	p.rss = math.Max(0, yy-a[0]*g[0]-a[1]*g[1]-a[2]*g[2])
	return p, true
}
