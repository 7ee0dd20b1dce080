package formula

import "math"

// interval is a closed range of real numbers; derivatives may be unbounded.
type interval struct{ lo, hi float64 }

// entire is what is known of a derivative at a jump: nothing.
var entire = interval{math.Inf(-1), math.Inf(1)}

func point(x float64) interval             { return interval{x, x} }
func (a interval) isPoint() bool           { return a.lo == a.hi }
func (a interval) holds0() bool            { return a.lo <= 0 && a.hi >= 0 }
func (a interval) neg() interval           { return interval{-a.hi, -a.lo} }
func (a interval) width() float64          { return a.hi - a.lo }
func (a interval) unbounded() bool         { return math.IsInf(a.lo, 0) || math.IsInf(a.hi, 0) }
func (a interval) add(b interval) interval { return interval{addDown(a.lo, b.lo), addUp(a.hi, b.hi)} }
func (a interval) sub(b interval) interval { return a.add(b.neg()) }

// mid is a point inside.
func (a interval) mid() float64 {
	m := a.lo/2 + a.hi/2
	return min(max(m, a.lo), a.hi)
}

func (a interval) mul(b interval) interval {
	if a.lo >= 0 && b.lo >= 0 {
		return interval{mulDown(a.lo, b.lo), mulUp(a.hi, b.hi)}
	}
	return interval{
		min(mulDown(a.lo, b.lo), mulDown(a.lo, b.hi), mulDown(a.hi, b.lo), mulDown(a.hi, b.hi)),
		max(mulUp(a.lo, b.lo), mulUp(a.lo, b.hi), mulUp(a.hi, b.lo), mulUp(a.hi, b.hi)),
	}
}

// div needs a b that does not hold zero.
func (a interval) div(b interval) interval {
	return interval{
		min(divDown(a.lo, b.lo), divDown(a.lo, b.hi), divDown(a.hi, b.lo), divDown(a.hi, b.hi)),
		max(divUp(a.lo, b.lo), divUp(a.lo, b.hi), divUp(a.hi, b.lo), divUp(a.hi, b.hi)),
	}
}

// square is a times the same a.
func (a interval) square() interval {
	m := a.abs()
	return interval{mulDown(m.lo, m.lo), mulUp(m.hi, m.hi)}
}

func (a interval) abs() interval {
	switch {
	case a.lo >= 0:
		return a
	case a.hi <= 0:
		return a.neg()
	}
	return interval{0, max(-a.lo, a.hi)}
}

func (a interval) hull(b interval) interval { return interval{min(a.lo, b.lo), max(a.hi, b.hi)} }

// meet is the common part of two enclosures of the same number. They always
// have one; should rounding say otherwise, the first stands.
func (a interval) meet(b interval) interval {
	m := interval{max(a.lo, b.lo), min(a.hi, b.hi)}
	if m.lo > m.hi {
		return a
	}
	return m
}

// truth is a condition that may be undecided over a range.
type truth uint8

const (
	undecided truth = iota
	no
	yes
)

func truthOf(b bool) truth {
	if b {
		return yes
	}
	return no
}

func (t truth) not() truth {
	switch t {
	case yes:
		return no
	case no:
		return yes
	}
	return undecided
}
