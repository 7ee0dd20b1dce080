package formula

// extent is the worst case of a node over all its inputs.
type extent struct {
	lo, hi             float64
	loCorner, hiCorner bool     // reached, every input at one of its ends
	loAt, hiAt         []assign // there, for the inputs that matter
}

// assign is an input at one of its ends.
type assign struct {
	input int32
	value float64
}

// extent bounds a node that full has evaluated.
func (r *run) extent(i int32) *extent {
	if e, ok := r.extents[i]; ok {
		return e
	}
	n := &r.p.nodes[i]
	e := &extent{lo: r.val[i].lo, hi: r.val[i].hi}
	switch {
	case !r.ranged[i]:
		e.loCorner, e.hiCorner = true, true
	case n.op == opInput:
		e.loCorner, e.hiCorner = true, true
		e.loAt, e.hiAt = []assign{{n.input, e.lo}}, []assign{{n.input, e.hi}}
	case n.op == opCond && r.truth[n.args[0]] != undecided:
		e = r.extent(r.branch(n))
	case r.work > 0:
		r.search(i, e)
	}
	r.extents[i] = e
	return e
}

// search narrows the natural enclosure e of node i from both ends.
func (r *run) search(i int32, e *extent) {
	t := r.tapeOf(i)
	low := r.lowest(t, false)
	high := r.lowest(t, true)
	if low.value > e.lo {
		e.lo = low.value
	}
	if -high.value < e.hi {
		e.hi = -high.value
	}
	e.loCorner, e.loAt = r.corner(t, low, false)
	e.hiCorner, e.hiAt = r.corner(t, high, true)
}

// corner says where an end is reached, in inputs.
func (r *run) corner(t *tape, m minimum, turned bool) (bool, []assign) {
	if !m.corner {
		return false, nil
	}
	var at []assign
	for k, s := range m.side {
		e := r.extents[t.nodes[k]]
		switch {
		case s == flat:
			continue
		case s == atLow && !e.loCorner, s == atHigh && !e.hiCorner:
			return false, nil
		case s == atLow:
			at = append(at, e.loAt...)
		default:
			at = append(at, e.hiAt...)
		}
	}
	return true, at
}

// side says at which end of its range a variable is fixed.
type side int8

const (
	free side = iota
	atLow
	atHigh
	flat // the value does not depend on it
)

// minimum is a lower bound of a tape, or of its negative.
type minimum struct {
	value  float64
	corner bool // every variable is fixed
	side   []side
}

// problem is the search for the lowest value of a tape, turned: of its
// negative.
type problem struct {
	r      *run
	t      *tape
	turned bool
	box    []interval
	free   []bool
	left   int // variables that are free
	pieces int // boxes used in proofs
}

// maxPieces is the number of boxes that proofs of one end, and again its
// branch and bound, may use.
const maxPieces = 4096

// lowest fixes the variables whose direction can be proved, and bounds the
// rest by branch and bound.
func (r *run) lowest(t *tape, turned bool) minimum {
	n := len(t.nodes)
	p := &problem{r: r, t: t, turned: turned, box: append([]interval(nil), t.whole...), free: make([]bool, n), left: n}
	m := minimum{side: make([]side, n)}
	for k := range p.free {
		p.free[k] = true
	}
	for {
		v := p.eval(p.box, p.free)
		m.value = v.lo
		if p.left == 0 {
			m.corner = true
			return m
		}
		if !p.fixAll(m.side) && !p.proveOne(m.side) {
			m.value = max(m.value, p.branch())
			return m
		}
	}
}

// eval encloses the value over a box, with derivatives by the active ones.
func (p *problem) eval(box []interval, active []bool) interval {
	p.r.work -= p.t.cost
	if active != nil {
		p.r.work -= p.t.slope * p.left / len(p.free)
	}
	v := p.t.eval(box, active)
	if p.turned {
		return v.neg()
	}
	return v
}

// gradient is the derivative by variable k at the last eval.
func (p *problem) gradient(k int) interval {
	g := p.t.gradient(k)
	if p.turned {
		return g.neg()
	}
	return g
}

// direction is the end at which a variable with this derivative is lowest.
func direction(g interval) side {
	switch {
	case g.lo == 0 && g.hi == 0:
		return flat
	case g.lo >= 0:
		return atLow
	case g.hi <= 0:
		return atHigh
	}
	return free
}

// fixAll fixes every variable whose derivative at the last eval has one sign.
func (p *problem) fixAll(sides []side) bool {
	found := false
	for k, isFree := range p.free {
		if isFree {
			if s := direction(p.gradient(k)); s != free {
				p.fix(k, s, sides)
				found = true
			}
		}
	}
	return found
}

func (p *problem) fix(k int, s side, sides []side) {
	sides[k] = s
	p.free[k] = false
	p.left--
	if s == atHigh {
		p.box[k] = point(p.box[k].hi)
	} else {
		p.box[k] = point(p.box[k].lo)
	}
}
