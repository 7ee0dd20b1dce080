package formula

import "math"

// proveOne tries to prove the direction of one free variable by halving the
// box, and fixes it.
func (p *problem) proveOne(sides []side) bool {
	for k, isFree := range p.free {
		if isFree && p.r.work > 0 {
			if s := p.prove(k); s != free {
				p.fix(k, s, sides)
				return true
			}
		}
	}
	return false
}

// prove halves the box until the derivative by variable k has the same sign in
// every piece. It gives up where the sign differs between pieces, at a jump,
// and after maxPieces.
func (p *problem) prove(k int) side {
	if p.mixed(k) {
		return free
	}
	proved := flat
	stack := [][]interval{append([]interval(nil), p.box...)}
	for len(stack) > 0 {
		box := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		g := p.slopeOver(box, k)
		switch s := direction(g); {
		case s == flat:
		case s == free:
			p.pieces++
			if p.pieces > maxPieces || p.r.work <= 0 || math.IsInf(g.lo, 0) && math.IsInf(g.hi, 0) {
				return free
			}
			lower, higher, ok := p.bestHalves(box, k)
			if !ok {
				return free
			}
			stack = append(stack, lower, higher)
		case proved == flat:
			proved = s
		case proved != s:
			return free
		}
	}
	return proved
}

// slopeOver encloses the derivative by variable k over a box.
func (p *problem) slopeOver(box []interval, k int) interval {
	p.eval(box, p.free)
	return p.gradient(k)
}

// mixed looks at a few points for a derivative of either sign, so that a
// variable without direction does not use up the pieces.
func (p *problem) mixed(k int) bool {
	rises, falls := false, false
	for _, pick := range []func(interval) float64{
		func(a interval) float64 { return a.lo }, interval.mid, func(a interval) float64 { return a.hi },
	} {
		box := append([]interval(nil), p.box...)
		for j := range box {
			box[j] = point(pick(box[j]))
		}
		for _, own := range []float64{p.box[k].lo, p.box[k].hi} {
			box[k] = point(own)
			g := p.slopeOver(box, k)
			rises, falls = rises || g.lo > 0, falls || g.hi < 0
		}
	}
	return rises && falls
}

// maxCandidates is how many variables are tried for a split.
const maxCandidates = 8

// bestHalves splits a box along the variable that narrows the derivative by k
// the most. ok is false if nothing can be split.
func (p *problem) bestHalves(box []interval, k int) (lower, higher []interval, ok bool) {
	best := math.Inf(1)
	for _, j := range p.candidates(box) {
		a, b, can := halves(box, j)
		if !can {
			continue
		}
		width := p.slopeOver(a, k).width() + p.slopeOver(b, k).width()
		if !ok || width < best {
			lower, higher, best, ok = a, b, width, true
		}
	}
	return lower, higher, ok
}

// candidates are the free variables that have kept most of their range.
func (p *problem) candidates(box []interval) []int {
	var c []int
	for j, isFree := range p.free {
		if !isFree || box[j].isPoint() {
			continue
		}
		at := len(c)
		for at > 0 && p.kept(box, j) > p.kept(box, c[at-1]) {
			at--
		}
		if at < maxCandidates {
			c = append(c, 0)
			copy(c[at+1:], c[at:])
			c[at] = j
			c = c[:min(len(c), maxCandidates)]
		}
	}
	return c
}

// kept is how much of its whole range a variable has in a box.
func (p *problem) kept(box []interval, j int) float64 { return box[j].width() / p.t.whole[j].width() }

// halves splits a box along variable j.
func halves(box []interval, j int) (lower, higher []interval, ok bool) {
	m := box[j].mid()
	if m <= box[j].lo || m >= box[j].hi {
		return nil, nil, false
	}
	lower, higher = append([]interval(nil), box...), append([]interval(nil), box...)
	lower[j].hi, higher[j].lo = m, m
	return lower, higher, true
}
