package formula

// eval encloses the root over a box and, if active is not nil, its partial
// derivatives by the active variables, which gradient then gives.
func (t *tape) eval(box []interval, active []bool) interval {
	copy(t.val, box)
	var scratch [8]interval
	for s := range t.steps {
		st := &t.steps[s]
		x := scratch[:0]
		for _, a := range st.args {
			x = append(x, t.val[a])
		}
		if st.op.isTruth() {
			t.truth[st.out] = t.decide(st, x)
			continue
		}
		switch st.op {
		case opCond:
			t.choose(st, x)
		default:
			t.val[st.out] = outward(st.op, x, st.same)
		}
		if st.clamped {
			t.val[st.out] = t.val[st.out].meet(st.clamp)
		}
		if active != nil {
			t.derive(st, x, active)
		}
	}
	return t.val[t.root]
}

// gradient is the enclosure of the derivative by variable k of the last eval
// in which k was active.
func (t *tape) gradient(k int) interval { return t.grad[t.root*len(t.nodes)+k] }

func (t *tape) decide(st *step, x []interval) truth {
	at := func(i int) truth { return t.truth[st.args[i]] }
	switch st.op {
	case opNot:
		return at(0).not()
	case opAnd:
		return both(at(0), at(1))
	case opOr:
		return either(at(0), at(1))
	}
	return decide(st.op, x[0], x[1], x[2], st.same)
}

// chooseTruth is an opCond whose branches are conditions.
func (t *tape) chooseTruth(st *step) truth {
	a, b := t.truth[st.args[1]], t.truth[st.args[2]]
	switch test := t.truth[st.args[0]]; {
	case test == yes:
		return a
	case test == no || a == b:
		return b
	}
	return undecided
}

// choose is an opCond; of an undecided one the value is in either branch.
func (t *tape) choose(st *step, x []interval) {
	t.truth[st.out] = t.chooseTruth(st)
	switch t.truth[st.args[0]] {
	case yes:
		t.val[st.out] = x[1]
	case no:
		t.val[st.out] = x[2]
	default:
		t.val[st.out] = x[1].hull(x[2])
	}
}

// derive encloses the partial derivatives of one step, forward from those of
// its operands x. At a kink of abs, min or max the enclosure holds the slopes
// of both sides, which is what the mean value theorem needs; at the jump of an
// undecided condition it is unbounded.
func (t *tape) derive(st *step, x []interval, active []bool) {
	n, v := len(t.nodes), t.val[st.out]
	var w [8]interval
	weights := t.weights(st, x, v, w[:0])
	for _, k := range st.support {
		if !active[k] {
			continue
		}
		g := func(i int) interval { return t.grad[st.args[i]*n+k] }
		var d interval
		switch st.op {
		case opMul:
			if st.same {
				d = g(0).mul(x[0]).mul(point(2))
			} else {
				d = g(0).mul(x[1]).add(g(1).mul(x[0]))
			}
		case opDiv: // (a/b)' = (a' - (a/b)·b')/b
			if !st.same {
				d = g(0).sub(v.mul(g(1))).div(x[1])
			}
		case opShare: // s = a/(a+b), s' = (a'·(1-s) - b'·s)/(a+b)
			if !st.same {
				rest := point(1).sub(v).meet(interval{0, 1})
				d = g(0).mul(rest).sub(g(1).mul(v)).div(x[0].add(x[1]))
			}
		case opMin, opMax, opCond:
			d = t.active(st, x, g)
		default:
			for i, weight := range weights {
				d = d.add(g(i).mul(weight))
			}
		}
		t.grad[st.out*n+k] = d
	}
	if st.op == opCond && t.truth[st.args[0]] == undecided {
		for _, k := range st.jumps {
			if active[k] {
				t.grad[st.out*n+k] = entire
			}
		}
	}
}

// weights are the derivatives of a step by its operands, where they do not
// depend on which variable is asked for.
func (t *tape) weights(st *step, x []interval, v interval, w []interval) []interval {
	switch st.op {
	case opNeg:
		return append(w, point(-1))
	case opAdd, opSum:
		for range x {
			w = append(w, point(1))
		}
	case opSub:
		return append(w, point(1), point(-1))
	case opLn:
		return append(w, point(1).div(x[0]))
	case opExp:
		return append(w, v)
	case opSqrt:
		return append(w, interval{divDown(1, mulUp(2, v.hi)), slope(v.lo)})
	case opAbs:
		switch {
		case x[0].lo >= 0:
			return append(w, point(1))
		case x[0].hi <= 0:
			return append(w, point(-1))
		}
		return append(w, interval{-1, 1})
	case opParallel: // by x: (p/x)², between 0 and 1
		for _, y := range x {
			w = append(w, v.div(y).meet(interval{0, 1}).square())
		}
	}
	return w
}

// slope is the steepest derivative of a root from root on.
func slope(root float64) float64 {
	if root <= 0 {
		return entire.hi
	}
	return divUp(1, mulDown(2, root))
}

// active is the hull of the derivatives of those operands that the result of
// opMin, opMax or opCond can be.
func (t *tape) active(st *step, x []interval, g func(int) interval) interval {
	first, d := true, interval{}
	take := func(i int) {
		if first {
			first, d = false, g(i)
		} else {
			d = d.hull(g(i))
		}
	}
	v := t.val[st.out]
	switch st.op {
	case opCond:
		test := t.truth[st.args[0]]
		if test != no {
			take(1)
		}
		if test != yes {
			take(2)
		}
		return d
	case opMin:
		for i, y := range x {
			if y.lo <= v.hi {
				take(i)
			}
		}
	case opMax:
		for i, y := range x {
			if y.hi >= v.lo {
				take(i)
			}
		}
	}
	return d
}
