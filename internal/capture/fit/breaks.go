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

// kneeTurn is the least change of slope that is a knee, as a part of the
// steeper one: own choice, no source; 1710 recordings of healthy circuits
// (fifty noises each, ngspice and midpoint steps) gave none.
const kneeTurn = 0.15

// Breaks finds where a signal breaks, in time order, at most twelve places:
// jumps that stand out of noise and quantisation and are above a 300th of the
// signal's range, and knees where the slope changes by more than 15 %. A
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
	if k == 0 || one-two < 30*f.variance() || one < n*math.Pow(1e-4*f.spread, 2) {
		return
	}
	i := f.place(part, bs, k)
	b, ok := f.judge(part, bs, k, i)
	if !ok {
		// The best place for two curves need not be a break when there are
		// several: look on both sides.
		if depth < 2 {
			f.find(from, from+i, depth+2)
			f.find(from+i, to, depth+2)
		}
		return
	}
	b.I += from
	f.found = append(f.found, b)
	f.find(from, b.I, depth+1)
	f.find(b.I, to, depth+1)
}

func middleCount(bs []bin) (n float64) {
	for _, b := range bs {
		n += b.n
	}
	return n
}

// A side is what describes the signal on one side of a break.
type side struct {
	at  func(t float64) float64
	tau float64 // infinite for a straight line
}

// sides gives the curves on both sides of bin k, leaving it out.
func (f *finder) sides(bs []bin, k int) (left, right side) {
	return f.side(bs[:max(1, k-1)]), f.side(bs[min(k+1, len(bs)-1):])
}

// side fits a straight line, and an exponential where it is clearly better.
func (f *finder) side(bs []bin) side {
	var m sums
	t0 := bs[0].t
	for _, b := range bs {
		m.add(b.n, b.t-t0, b.y)
	}
	a, slope, straight := m.line()
	tau, curved := search(bs)
	if !(tau > 0) || straight-curved < 30*f.variance() {
		return side{func(t float64) float64 { return a + slope*(t-t0) }, math.Inf(1)}
	}
	a, gap, _ := project(bs, tau, 0)
	return side{func(t float64) float64 { return a + gap*math.Exp(-(t-t0)/tau) }, tau}
}

// variance is the least variance that a misfit is measured by.
func (f *finder) variance() float64 {
	return math.Max(f.noise*f.noise, math.Pow(1e-5*f.spread, 2))
}

// place finds the sample at which the two sides of bin k change over.
func (f *finder) place(s Samples, bs []bin, k int) int {
	before, after := f.sides(bs, k)
	left, right := before.at, after.at
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
	before, after := f.sides(bs, k)
	dt := s.Interval()
	if i <= 3 || i >= s.Len()-3 || dt <= 0 {
		return Break{}, false
	}
	b := Break{I: i, T: (s.T(i-1) + s.T(i)) / 2}
	// Tangents over more samples scatter less and bend more.
	const gap = 2
	var l, r tangent
	var bend, best float64
	for w := 4; w <= 512 && w <= max(i, s.Len()-i); w *= 2 {
		left, right := f.line(s, i-gap-w, i-gap, b.T), f.line(s, i+gap, i+gap+w, b.T)
		if left.n < 2 || right.n < 2 {
			continue
		}
		reach := float64(w+gap) * dt
		arc := math.Abs(left.slope)*reach/before.tau + math.Abs(right.slope)*reach/after.tau
		if cost := 5*math.Hypot(left.se, right.se) + 0.5*arc*reach; l.n == 0 || cost < best {
			l, r, best, bend = left, right, cost, 0.5*arc*reach
		}
	}
	if l.n == 0 {
		return Break{}, false
	}
	b.Before, b.After = l.slope, r.slope
	jump, own := r.at-l.at, math.Hypot(l.se, r.se)
	model := after.at(b.T) - before.at(b.T)
	least := math.Max(1.6*f.quantum, f.spread/300)
	if f.s.Noise() > 0.5*f.quantum {
		least = math.Max(0.8*f.quantum, f.spread/300)
	}
	c, have := f.corner(s, i, cornerSpan, before.tau, after.tau)
	// Between the true place of a knee and the one taken noise makes two
	// slopes look like a jump. One against both slopes, as no capacitor makes
	// it, must be beyond doubt; one after which it goes on as before, nearly so;
	// one on to a level that stays may be small.
	doubt, h := 0.0, math.Min(0.25*before.tau, (s.T(s.Len()-1)-b.T)/2)
	switch l, r := (before.at(b.T)-before.at(b.T-dt))/dt, (after.at(b.T+2*h)-after.at(b.T+h))/h; {
	case jump*l < 0 && jump*r < 0:
		doubt = 25
	case math.Abs(r) > 0.3*math.Abs(l):
		doubt = 9
	}
	jumps := !have || doubt == 0 || c.excess > doubt
	if j := math.Abs(jump); jumps && j > math.Max(5*own+bend, least) && jump*model > 0 && math.Abs(model) > least/2 && f.sudden(s, i, jump) {
		b.Jump, b.JumpSE = jump, own
		return b, true
	}
	if j, se, ok := f.beyond(s, i, b.T, after.tau); ok && jumps && math.Abs(j) > math.Max(5*se, least) && j*model > 0 && f.sudden(s, i, j) &&
		math.Abs(j-jump) < math.Max(0.5*math.Abs(j), 3*own+bend) {
		b.Jump, b.JumpSE = j, se
		return b, true
	}
	if k, ok := f.knee(s, c, have); ok {
		return k, true
	}
	// Late in a curve its own bend is below the noise, and longer parabolas tell more.
	for _, span := range []float64{2 * cornerSpan, 4 * cornerSpan} {
		if c, have := f.corner(s, i, span, before.tau, after.tau); have && c.misfit < 4 {
			if k, ok := f.knee(s, c, have); ok {
				return k, true
			}
		}
	}
	for _, part := range []float64{0.1, 0.2, 0.4} {
		if k, ok := f.turn(s, b, part, before.tau, after.tau); ok {
			return k, true
		}
	}
	return Break{}, false
}

// sudden reports whether the samples themselves change by a jump within a few
// of them, as far as noise lets that be seen: a bend a little way off looks
// like a jump to curves, and not to samples.
func (f *finder) sudden(s Samples, i int, jump float64) bool {
	mean := func(from, to int) (t, y float64, ok bool) {
		n := 0.0
		for k := max(0, from); k < min(to, s.Len()); k++ {
			if v := s.Y[k]; v == v {
				t, y, n = t+s.T(k), y+v, n+1
			}
		}
		return t / n, y / n, n > 0
	}
	t0, y0, ok0 := mean(i-4, i-1)
	t1, y1, ok1 := mean(i+1, i+4)
	ta, ya, oka := mean(i-12, i-8)
	tb, yb, okb := mean(i+8, i+12)
	if !ok0 || !ok1 {
		return false
	}
	slope := 0.0
	if oka && okb && t0 > ta && tb > t1 { // the slopes beside it, half each
		slope = ((y0-ya)/(t0-ta) + (yb-y1)/(tb-t1)) / 2
	}
	d := y1 - y0 - slope*(t1-t0)
	return math.Abs(d-jump) < math.Max(0.5*math.Abs(jump), 4*f.noise)
}

// knee judges a corner.
func (f *finder) knee(s Samples, c corner, have bool) (Break, bool) {
	if !have {
		return Break{}, false
	}
	k := Break{I: c.i, T: (s.T(c.i-1) + s.T(c.i)) / 2, Before: c.before, After: c.after}
	turn, steep := math.Abs(c.after-c.before), math.Max(math.Abs(c.before), math.Abs(c.after))
	// A knee shows on the whole curve, not only in a few samples.
	whole := turn * math.Min(s.T(s.Len()-1)-k.T, k.T-s.T(0))
	// The slope at the end of a parabola over a length L is a sum of samples
	// whose weights, without sign, come to 15/L: steps that noise does not blur
	// are off by half of one and go together, in the worst case everywhere.
	stairs := 3 * f.quantum
	if f.s.Noise() < 0.5*f.quantum {
		stairs = 8 * f.quantum
	}
	return k, turn > kneeTurn*steep && turn > 6*c.turnSE && turn*c.length > stairs && whole > 0.02*f.spread
}

// turn looks for the sharpest change of slope within a quarter of the shorter
// time constant of a break, with tangents over a part of it: where both sides are all but
// straight they tell more than parabolas.
func (f *finder) turn(s Samples, b Break, part, tauL, tauR float64) (Break, bool) {
	dt := s.Interval()
	tau := math.Min(math.Min(tauL, tauR), s.T(s.Len()-1)-s.T(0))
	reach := int(math.Max(4, 0.25*tau/dt))
	w := int(math.Min(512, math.Max(4, part*tau/dt)))
	var best float64
	var l, r tangent
	at := b.I
	for i := max(4, b.I-reach); i <= min(s.Len()-4, b.I+reach); i += max(1, reach/40) {
		t := (s.T(i-1) + s.T(i)) / 2
		left, right := f.line(s, i-w, i, t), f.line(s, i, i+w, t)
		if left.n < 4 || right.n < 4 {
			continue
		}
		if turn := math.Abs(right.slope - left.slope); turn > best {
			best, l, r, at = turn, left, right, i
		}
	}
	if best == 0 {
		return Break{}, false
	}
	k := Break{I: at, T: (s.T(at-1) + s.T(at)) / 2, Before: l.slope, After: r.slope}
	length := float64(w) * dt
	steep := math.Max(math.Abs(l.slope), math.Abs(r.slope))
	smooth := length * (math.Abs(l.slope)/tauL + math.Abs(r.slope)/tauR) // what the curves turn by themselves
	// A knee shows on the whole curve, not only in a few samples.
	whole := best * math.Min(s.T(s.Len()-1)-k.T, k.T-s.T(0))
	return k, best > 0.25*steep+1.5*smooth && best > 6*math.Hypot(l.slopeSE, r.slopeSE) &&
		best*length > 3*f.quantum && whole > 0.02*f.spread
}

// beyond gives the jump from an exponential through all that comes before to
// the tangent after, whose length suits its time constant: it scatters less
// than two tangents of one length.
func (f *finder) beyond(s Samples, i int, t, tau float64) (jump, se float64, ok bool) {
	e, err := fitWith(s.Slice(0, i-1), f.quantum)
	if err != nil || !e.Fits() {
		return 0, 0, false
	}
	var after tangent
	least := 0.0
	for w := 4; w <= 512; w *= 2 {
		r := f.line(s, i+2, i+2+w, t)
		reach := float64(w+2) * s.Interval()
		if cost := r.se + 0.1*math.Abs(r.slope)*reach*reach/tau; r.n > 2 && (after.n == 0 || cost < least) {
			after, least = r, cost
		}
	}
	if after.n == 0 {
		return 0, 0, false
	}
	se, q := e.AtSE(t)
	return after.at - e.At(t), math.Hypot(se, least) + q/4, true
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
