package formula

import "math"

const maxNumber = math.MaxFloat64

// maxWork bounds the interval arithmetic of one Eval, in operands: below a
// second. A formula from a real car needs about a thousandth of it.
const maxWork = 1 << 24

// run evaluates a program over the ranges of its inputs. It looks only at the
// operands that are needed: the branch that is taken, both where the condition
// is undecided.
type run struct {
	p       *program
	done    []bool
	ranged  []bool     // the value depends on a range
	val     []interval // enclosure over all inputs
	truth   []truth
	extents map[int32]*extent // worst cases known so far
	work    int
}

func newRun(p *program) *run {
	n := len(p.nodes)
	return &run{p: p, done: make([]bool, n), ranged: make([]bool, n), val: make([]interval, n), truth: make([]truth, n),
		extents: map[int32]*extent{}, work: maxWork}
}

// full evaluates node i over all ranges.
func (r *run) full(i int32) error {
	if r.done[i] {
		return nil
	}
	n := &r.p.nodes[i]
	var err error
	switch n.op {
	case opConst:
		r.val[i] = point(n.value)
	case opInput:
		err = r.input(i)
	case opCond:
		err = r.cond(i)
	case opAnd, opOr:
		err = r.junction(i)
	default:
		err = r.operation(i)
	}
	if err != nil {
		return err
	}
	if !n.truth && r.val[i].unbounded() {
		return r.p.tooLarge(i)
	}
	r.done[i] = true
	return nil
}

func (r *run) input(i int32) error {
	in := &r.p.inputs[r.p.nodes[i].input]
	if in.absent != "" {
		return &AbsentError{in.name, in.absent}
	}
	if in.truth {
		r.truth[i] = truthOf(in.nominal != 0)
	} else {
		r.val[i], r.ranged[i] = interval{in.lo, in.hi}, in.ranged()
	}
	return nil
}

func (r *run) cond(i int32) error {
	n := &r.p.nodes[i]
	if err := r.full(n.args[0]); err != nil {
		return err
	}
	if r.truth[n.args[0]] != undecided {
		b := r.branch(n)
		if err := r.full(b); err != nil {
			return err
		}
		r.val[i], r.truth[i], r.ranged[i] = r.val[b], r.truth[b], r.ranged[b]
		return nil
	}
	a, b := n.args[1], n.args[2]
	for _, x := range []int32{a, b} {
		if err := r.full(x); err != nil {
			return err
		}
	}
	r.val[i] = r.val[a].hull(r.val[b])
	if r.truth[a] == r.truth[b] {
		r.truth[i] = r.truth[a]
	}
	r.ranged[i] = !n.truth || r.truth[i] == undecided
	return nil
}

// branch is the operand that a decided opCond takes.
func (r *run) branch(n *node) int32 {
	if r.truth[n.args[0]] == yes {
		return n.args[1]
	}
	return n.args[2]
}

func (r *run) junction(i int32) error {
	n := &r.p.nodes[i]
	join, settled := both, no
	if n.op == opOr {
		join, settled = either, yes
	}
	if err := r.full(n.args[0]); err != nil {
		return err
	}
	if r.truth[i] = r.truth[n.args[0]]; r.truth[i] == settled {
		return nil
	}
	if err := r.full(n.args[1]); err != nil {
		return err
	}
	r.truth[i] = join(r.truth[n.args[0]], r.truth[n.args[1]])
	r.ranged[i] = r.truth[i] == undecided
	return nil
}

// operation evaluates an operation that needs all its operands.
func (r *run) operation(i int32) error {
	n := &r.p.nodes[i]
	x := make([]interval, len(n.args))
	for j, a := range n.args {
		if err := r.full(a); err != nil {
			return err
		}
		x[j], r.ranged[i] = r.val[a], r.ranged[i] || r.ranged[a]
	}
	if n.op.isTruth() {
		r.compare(i, x)
		return nil
	}
	for _, a := range n.args {
		if _, _, _, bad := outside(n.op, x); !bad {
			break
		}
		r.tighten(a) // the enclosure may only be too wide
		for j, a := range n.args {
			x[j] = r.val[a]
		}
	}
	if which, operation, reason, bad := outside(n.op, x); bad {
		return r.p.domain(operation, reason, n.args[which], x[which])
	}
	if r.ranged[i] {
		r.val[i] = outward(n.op, x, len(n.args) == 2 && n.args[0] == n.args[1])
		return nil
	}
	plain := make([]float64, len(x))
	for j := range x {
		plain[j] = x[j].lo
	}
	v := plainly(n.op, plain)
	if !finite(v) {
		return r.p.tooLarge(i)
	}
	r.val[i] = point(v)
	return nil
}

// compare decides a comparison or opNot.
func (r *run) compare(i int32, x []interval) {
	n := &r.p.nodes[i]
	switch {
	case n.op == opNot:
		r.truth[i] = r.truth[n.args[0]].not()
	case !r.ranged[i]:
		r.truth[i] = truthOf(plainly(n.op, []float64{x[0].lo, x[1].lo}) != 0)
	default:
		same := n.args[0] == n.args[1]
		if r.truth[i] = decide(n.op, x[0], x[1], x[2], same); r.truth[i] == undecided {
			r.tighten(n.args[2])
			r.truth[i] = decide(n.op, x[0], x[1], r.val[n.args[2]], same)
		}
	}
	r.ranged[i] = r.truth[i] == undecided
}

// tighten narrows the enclosure of a node to its worst case.
func (r *run) tighten(i int32) {
	if r.ranged[i] {
		e := r.extent(i)
		r.val[i] = r.val[i].meet(interval{e.lo, e.hi})
	}
}
