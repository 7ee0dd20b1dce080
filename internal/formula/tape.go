package formula

// tape is the part of a program between a root and the inputs or closed parts
// it depends on, ready to be evaluated over many boxes. Slots hold values:
// first the variables, then constants, then the results of the steps.
type tape struct {
	steps []step
	nodes []int32    // of the variables
	whole []interval // ranges of the variables
	root  int
	val   []interval
	truth []truth
	grad  []interval // slot by variable
	cost  int        // operands of an evaluation
	slope int        // operands, once for each variable, of its derivatives
}

// step is one operation of a tape.
type step struct {
	op      op
	out     int
	args    []int
	same    bool  // both operands are the same
	support []int // variables it depends on, in order
	jumps   []int // variables that an undecided condition depends on (opCond)
	clamp   interval
	clamped bool
}

// tapeOf builds the tape of a root that has a range.
func (r *run) tapeOf(root int32) *tape {
	b := &taper{r: r, t: &tape{}, closed: r.closedParts(root), slots: map[int32]int{}, root: root}
	b.variables(root, map[int32]bool{})
	for s, n := range b.t.nodes {
		b.slots[n] = s
	}
	b.t.root = b.slot(root)
	n := len(b.t.nodes)
	b.t.grad = make([]interval, len(b.t.val)*n)
	for k := range n {
		b.t.grad[k*n+k] = point(1)
	}
	for _, st := range b.t.steps {
		b.t.cost += 1 + len(st.args)
		b.t.slope += len(st.support) * (1 + len(st.args))
	}
	return b.t
}

// taper builds one tape.
type taper struct {
	r       *run
	t       *tape
	root    int32
	closed  []bool
	slots   map[int32]int
	support [][]int // by slot
}

// isVariable says whether a node ends the tape: an input or a closed part.
func (b *taper) isVariable(i int32) bool {
	return b.r.ranged[i] && (b.r.p.nodes[i].op == opInput || b.closed[i])
}

// variables bounds the closed parts and lists them with the inputs.
func (b *taper) variables(i int32, seen map[int32]bool) {
	if seen[i] || !b.r.ranged[i] {
		return
	}
	seen[i] = true
	if b.isVariable(i) {
		e := b.r.extent(i)
		s := len(b.t.nodes)
		b.t.nodes = append(b.t.nodes, i)
		b.t.whole = append(b.t.whole, interval{e.lo, e.hi})
		b.t.val, b.t.truth = append(b.t.val, interval{e.lo, e.hi}), append(b.t.truth, undecided)
		b.support = append(b.support, []int{s})
		return
	}
	for _, a := range b.r.operands(i) {
		b.variables(a, seen)
	}
}

// slot gives the slot of a node, adding the steps that fill it.
func (b *taper) slot(i int32) int {
	if s, ok := b.slots[i]; ok {
		return s
	}
	n := &b.r.p.nodes[i]
	if b.r.ranged[i] && n.op == opCond && b.r.truth[n.args[0]] != undecided {
		s := b.slot(b.r.branch(n))
		b.slots[i] = s
		return s
	}
	var st step
	if b.r.ranged[i] {
		st = step{op: n.op, same: len(n.args) >= 2 && n.args[0] == n.args[1]}
		for _, a := range n.args {
			st.args = append(st.args, b.slot(a))
		}
		if e, ok := b.r.extents[i]; ok && !n.truth && i != b.root {
			st.clamp, st.clamped = interval{e.lo, e.hi}, true
		}
	}
	s := len(b.t.val)
	b.slots[i] = s
	b.t.val, b.t.truth = append(b.t.val, b.r.val[i]), append(b.t.truth, b.r.truth[i])
	b.support = append(b.support, nil)
	if b.r.ranged[i] {
		st.out = s
		st.support = b.union(st.args)
		if n.op == opCond {
			st.jumps = b.support[st.args[0]]
		}
		b.support[s] = st.support
		b.t.steps = append(b.t.steps, st)
	}
	return s
}

// union merges the supports of slots, in order.
func (b *taper) union(slots []int) []int {
	in := make([]bool, len(b.t.nodes))
	n := 0
	for _, s := range slots {
		for _, k := range b.support[s] {
			if !in[k] {
				in[k], n = true, n+1
			}
		}
	}
	all := make([]int, 0, n)
	for k, ok := range in {
		if ok {
			all = append(all, k)
		}
	}
	b.r.work -= len(b.t.nodes) / 8
	return all
}
