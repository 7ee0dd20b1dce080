package fit

import (
	"math"
	"slices"
)

// A Break is a place where a signal stops following one exponential.
type Break struct {
	I int     // first sample of what comes after
	T float64 // s, middle of the step between the samples I−1 and I

	// Jump is by how much the signal changes at once, JumpSE its standard
	// error; 0 at a knee, where only the slope breaks.
	Jump, JumpSE float64
	// Before and After are the slopes on both sides, per second.
	Before, After float64
}

// Knee reports that the signal is continuous and its slope breaks.
func (b Break) Knee() bool { return b.Jump == 0 }

// Breaks finds where a signal breaks, in time order, at most twelve places:
// jumps that stand out of noise and quantisation and are above a 300th of the
// signal's range, and knees where the slope changes by more than a quarter. A
// smooth deviation from an exponential is no break.
func Breaks(s Samples) []Break {
	lo, _ := s.Quantile(0.001)
	hi, ok := s.Quantile(0.999)
	if !ok {
		return nil
	}
	f := finder{s: s, quantum: s.Quantum(), spread: hi - lo}
	f.noise = math.Hypot(s.Noise(), f.quantum/math.Sqrt(12))
	f.find(0, s.Len(), 0)
	slices.SortFunc(f.found, func(a, b Break) int { return a.I - b.I })
	return f.found
}

type finder struct {
	s                      Samples
	noise, quantum, spread float64
	found                  []Break
}

// find looks for the clearest break in a stretch, then on both sides of it.
func (f *finder) find(from, to, depth int) {
	if depth > 4 || to-from < 16 || len(f.found) >= 12 {
		return
	}
	part := f.s.Slice(from, to)
	bs := bins(part)
	_, one := search(bs)
	k, two := split(bs, 3)
	n := middleCount(bs)
	floor := math.Max(f.noise*f.noise, math.Pow(1e-5*f.spread, 2))
	if k == 0 || one-two < 30*floor || one < n*math.Pow(1e-4*f.spread, 2) {
		return
	}
	i := f.place(part, bs, k)
	if b, ok := f.judge(part, bs, k, i); ok {
		b.I += from
		f.found = append(f.found, b)
		f.find(from, b.I, depth+1)
		f.find(b.I, to, depth+1)
	}
}

func middleCount(bs []bin) (n float64) {
	for _, b := range bs {
		n += b.n
	}
	return n
}

// sides gives the exponentials on both sides of bin k, leaving it out.
func sides(bs []bin, k int) (left, right func(float64) float64, tauL, tauR float64) {
	curve := func(p []bin) (func(float64) float64, float64) {
		tau, _ := search(p)
		if !(tau > 0) {
			mid := middle(p)
			return func(float64) float64 { return mid }, math.Inf(1)
		}
		a, b, _ := project(p, tau, 0)
		t0 := p[0].t
		return func(t float64) float64 { return a + b*math.Exp(-(t-t0)/tau) }, tau
	}
	left, tauL = curve(bs[:max(1, k-1)])
	right, tauR = curve(bs[min(k+1, len(bs)-1):])
	return left, right, tauL, tauR
}

// place finds the sample at which the two sides of bin k change over.
func (f *finder) place(s Samples, bs []bin, k int) int {
	left, right, _, _ := sides(bs, k)
	from, to := bs[max(0, k-2)].from, s.Len()
	if k+2 < len(bs) {
		to = bs[k+2].from
	}
	sum := 0.0
	for i := from; i < to; i++ {
		if y := s.Y[i]; y == y {
			d := y - right(s.T(i))
			sum += d * d
		}
	}
	best, least := from, sum
	for i := from; i < to; i++ {
		y := s.Y[i]
		if y != y {
			continue
		}
		dl, dr := y-left(s.T(i)), y-right(s.T(i))
		if sum += dl*dl - dr*dr; sum < least {
			best, least = i+1, sum
		}
	}
	return best
}

// judge tells whether there is a jump or a knee at sample i.
func (f *finder) judge(s Samples, bs []bin, k, i int) (Break, bool) {
	left, right, tauL, tauR := sides(bs, k)
	dt := s.Interval()
	if i <= 3 || i >= s.Len()-3 || dt <= 0 {
		return Break{}, false
	}
	b := Break{I: i, T: (s.T(i-1) + s.T(i)) / 2}
	w := int(math.Min(200, math.Max(4, 0.1*math.Min(tauL, tauR)/dt)))
	const gap = 2
	l := f.line(s, i-gap-w, i-gap, b.T)
	r := f.line(s, i+gap, i+gap+w, b.T)
	if l.n < 2 || r.n < 2 {
		return Break{}, false
	}
	b.Before, b.After = l.slope, r.slope
	reach := float64(w+gap) * dt
	bend := 0.0 // what curvature does to straight lines
	for _, c := range []struct{ slope, tau float64 }{{l.slope, tauL}, {r.slope, tauR}} {
		bend += 0.5 * math.Abs(c.slope) * reach * reach / c.tau
	}
	jump, se := r.at-l.at, math.Hypot(l.se, r.se)
	model := right(b.T) - left(b.T)
	least := math.Max(0.8*f.quantum, f.spread/300)
	if j := math.Abs(jump); j > math.Max(5*se+bend, least) && jump*model > 0 && math.Abs(model) > least/2 {
		b.Jump, b.JumpSE = jump, se
		return b, true
	}
	steep := math.Max(math.Abs(l.slope), math.Abs(r.slope))
	turn := math.Abs(r.slope - l.slope)
	smooth := steep * reach * (1/tauL + 1/tauR)
	// A knee shows on the whole curve, not only in a few samples.
	whole := math.Abs(turn) * math.Min(s.T(s.Len()-1)-b.T, b.T-s.T(0))
	if turn > 0.25*steep+smooth && turn > 5*math.Hypot(l.slopeSE, r.slopeSE) && whole > 0.02*f.spread {
		return b, true
	}
	return Break{}, false
}

// A tangent is a straight line through a few samples.
type tangent struct {
	n                      int
	at, se, slope, slopeSE float64
}

// line fits a straight line to the samples from ≤ i < to, taken at time t.
func (f *finder) line(s Samples, from, to int, t float64) tangent {
	var m sums
	n := 0
	for i := max(0, from); i < min(to, s.Len()); i++ {
		if y := s.Y[i]; y == y {
			m.add(1, s.T(i)-t, y)
			n++
		}
	}
	if n < 2 {
		return tangent{n: n}
	}
	a, b, rss := m.line()
	sd := f.noise
	if n > 4 {
		sd = math.Max(sd, math.Sqrt(rss/float64(n-2)))
	}
	vx := m.xx - m.x*m.x/m.n
	out := tangent{n: n, at: a, slope: b, se: sd / math.Sqrt(m.n)}
	if vx > 0 {
		out.slopeSE = sd / math.Sqrt(vx)
		out.se = math.Hypot(out.se, out.slopeSE*m.x/m.n)
	}
	return out
}

// Transitions counts the sudden changes of at least size between ≤ i < to:
// neighbouring steps in one direction are one, and what noise makes is none.
func Transitions(s Samples, from, to int, size float64) []int {
	least := math.Max(size, 9*s.Noise())
	least = math.Max(least, 2.5*s.Quantum())
	var out []int
	const together = 3 // samples that one change may take
	for i := max(1, from); i < min(to, s.Len()); i++ {
		d := s.Y[i] - s.Y[max(0, i-together)]
		if math.IsNaN(d) || math.Abs(d) < least {
			continue
		}
		// the steepest step of the change
		best := i
		for j := max(1, i-together+1); j <= i; j++ {
			if math.Abs(s.Y[j]-s.Y[j-1]) > math.Abs(s.Y[best]-s.Y[best-1]) {
				best = j
			}
		}
		out = append(out, best)
		i += together
	}
	return out
}
