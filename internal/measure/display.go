package measure

import (
	"math"
	"slices"
	"sort"
	"strconv"

	"hvproof/internal/quantity"
)

// A span is a run of displayed readings without gap.
type span struct{ from, to float64 }

// choose picks the run of passing readings to speak of: the one that holds
// the expected window, else the longest.
func choose(all []span, e *quantity.Bound) span {
	best := all[0]
	for _, s := range all {
		if e != nil && s.from <= e.Low && s.to >= e.High {
			return s
		}
		if s.to-s.from > best.to-best.from {
			best = s
		}
	}
	return best
}

// accepted gives the runs of displayed readings that pass, ascending. The
// display is cut into pieces in which U is linear in the reading: what
// passes in one is a single run, and neighbouring runs are joined.
func (f Function) accepted(b quantity.Bound, rule Rule) []span {
	var out []span
	joined := false // the run before reached the end of its piece
	for _, p := range f.pieces() {
		lo, hi := p.counts()
		if lo > hi {
			continue // no reading is displayed in this piece
		}
		from, to, ok := f.passing(p, lo, hi, b, rule)
		if !ok {
			joined = false
			continue
		}
		s := span{p.shown(from), p.shown(to)}
		if joined && from == lo {
			out[len(out)-1].to = s.to
		} else {
			out = append(out, s)
		}
		joined = to == hi
	}
	return out
}

// A piece is a part of a range, on one side of nought, in which U is linear.
type piece struct {
	index  int     // of the range
	digit  float64 // of the range; 0 if it shows no counts
	lo, hi float64 // signed, ascending
	openLo bool    // lo belongs to the piece below
	openHi bool    // hi belongs to the piece above
}

// pieces cuts the display into pieces, ascending.
func (f Function) pieces() []piece {
	var up []piece
	below := 0.0
	for i, r := range f.Ranges {
		cuts := []float64{below, r.To}
		for _, cut := range []float64{r.From, r.knee()} {
			if cut > below && cut < r.To {
				cuts = append(cuts, cut)
			}
		}
		sort.Float64s(cuts)
		cuts = slices.Compact(cuts)
		for k := 1; k < len(cuts); k++ {
			up = append(up, piece{index: i, digit: r.Digit, lo: cuts[k-1], hi: cuts[k], openLo: cuts[k-1] > 0})
		}
		below = r.To
	}
	if neverNegative(f.Dim) {
		return up
	}
	var all []piece
	for _, p := range slices.Backward(up) {
		all = append(all, piece{index: p.index, digit: p.digit, lo: -p.hi, hi: -p.lo, openHi: p.openLo})
	}
	return append(all, up...)
}

// knee gives the magnitude at which the accuracy leaves the one digit that
// it never falls below, 0 if there is none.
func (r MeterRange) knee() float64 {
	fixed := r.Digits*r.Digit + r.PercentOfRange*r.To + r.Fixed
	if fixed >= r.Digit || r.PercentOfReading == 0 {
		return 0
	}
	return (r.Digit - fixed) / r.PercentOfReading
}

// slack is the part of a count by which a boundary may miss it for the
// rounding of the arithmetic.
const slack = 1e-6

// counts gives the first and the last count displayed in a piece; without
// counts, its ends.
func (p piece) counts() (lo, hi float64) {
	if p.digit == 0 {
		return p.lo, p.hi
	}
	lo, hi = p.firstFrom(p.lo), p.lastTo(p.hi)
	if p.openLo && p.shown(lo) <= p.lo {
		lo++
	}
	if p.openHi && p.shown(hi) >= p.hi {
		hi--
	}
	return lo, hi
}

// firstFrom gives the first count at or above x, lastTo the last at or below.
func (p piece) firstFrom(x float64) float64 {
	if p.digit == 0 {
		return x
	}
	return math.Ceil(x/p.digit - slack)
}

func (p piece) lastTo(x float64) float64 {
	if p.digit == 0 {
		return x
	}
	return math.Floor(x/p.digit + slack)
}

// shown gives the value of a count as somebody would type it: 3 counts of
// 0.1 V are 0.3 V, not 0.30000000000000004 V.
func (p piece) shown(count float64) float64 {
	if p.digit == 0 {
		return count
	}
	x, err := strconv.ParseFloat(strconv.FormatFloat(count*p.digit, 'g', 12, 64), 64)
	if err != nil {
		return count * p.digit
	}
	return x
}

// passing gives the first and the last count between lo and hi that pass.
// They are computed, then confirmed by Decide itself.
func (f Function) passing(p piece, lo, hi float64, b quantity.Bound, rule Rule) (from, to float64, ok bool) {
	x0, x1 := f.solve(p, b, rule)
	if !(x0 <= x1) {
		return 0, 0, false
	}
	passes := func(count float64) bool {
		x := p.shown(count)
		r := Reading{Value: x, Dim: f.Dim, U: f.Ranges[p.index].U(x), RangeIndex: p.index}
		return Decide(r, b, rule).Verdict == Pass
	}
	from, to = math.Max(lo, p.firstFrom(x0)), math.Min(hi, p.lastTo(x1))
	step := 1.0
	if p.digit == 0 {
		step = 1e-12 * math.Max(math.Abs(x0), math.Abs(x1))
	}
	for range 3 {
		if from <= to && !passes(from) {
			from += step
		}
		if from <= to && !passes(to) {
			to -= step
		}
	}
	return from, to, from <= to && passes(from) && passes(to)
}

// solve gives the values of a piece that pass, before they are rounded to
// counts: the part that meets every one of a few linear conditions.
func (f Function) solve(p piece, b quantity.Bound, rule Rule) (lo, hi float64) {
	r := f.Ranges[p.index]
	slope := (r.U(p.hi) - r.U(p.lo)) / (p.hi - p.lo)
	at0 := r.U(p.lo) - slope*p.lo
	if rule == SimpleAcceptance && b.Kind != quantity.Expected {
		slope, at0 = 0, 0
	}
	lo, hi = p.lo, p.hi
	need := func(c, d float64) { // c·x ≥ d
		switch {
		case c > 0:
			lo = math.Max(lo, d/c)
		case c < 0:
			hi = math.Min(hi, d/c)
		case d > 0:
			lo, hi = 1, 0
		}
	}
	sign := 1.0
	if p.hi <= 0 {
		sign = -1
	}
	switch b.Kind {
	case quantity.AtLeast:
		need(1-slope, b.Low+at0)
	case quantity.AtMost:
		need(-1-slope, at0-b.High)
	case quantity.MagnitudeAtMost:
		need(-sign-slope, at0-b.High)
	case quantity.Between:
		need(1-slope, b.Low+at0)
		need(-1-slope, at0-b.High)
	case quantity.Expected:
		need(1+slope, b.Low-at0)
		need(slope-1, -b.High-at0)
		need(-slope, at0-math.Max(b.High-b.Low, math.Abs(b.Low+b.High)/2))
	}
	return lo, hi
}
