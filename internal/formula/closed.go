package formula

import "math/bits"

// operands gives the operands that a node's value rests on after full: none
// for a decided condition, the taken branch for a decided opCond.
func (r *run) operands(i int32) []int32 {
	n := &r.p.nodes[i]
	switch {
	case !r.ranged[i]:
		return nil
	case n.op == opCond && r.truth[n.args[0]] != undecided:
		b := r.branch(n)
		return []int32{b}
	}
	return n.args
}

// closedParts finds the parts of the program under root that can be bounded by
// themselves: nodes through which every path from their inputs to the root
// leads. Such a node takes the place of an input. The result is by node; only
// the outermost matter to the caller.
//
// A node dominates an input if all paths from the root to it lead through the
// node (T. Lengauer, R. E. Tarjan, A fast algorithm for finding dominators,
// 1979, for the notion; in a graph without circles one pass in order gives the
// tree of immediate dominators).
func (r *run) closedParts(root int32) []bool {
	live := r.liveNodes(root)
	above, depth := make([]int32, root+1), make([]int32, root+1)
	for i := range above {
		above[i] = -1
	}
	common := func(a, b int32) int32 {
		for a != b {
			if depth[a] < depth[b] {
				a, b = b, a
			}
			a = above[a]
		}
		return a
	}
	for _, i := range live { // from the root down: users before their operands
		if i != root {
			depth[i] = depth[above[i]] + 1
		}
		for _, a := range r.operands(i) {
			switch {
			case !r.ranged[a]:
			case above[a] < 0:
				above[a] = i
			default:
				above[a] = common(above[a], i)
			}
		}
	}
	dominated := make([]int, root+1) // inputs by dominating node
	for _, i := range live {
		if r.p.nodes[i].op == opInput {
			for a := i; a != root; a = above[a] {
				dominated[a]++
			}
		}
	}
	closed := make([]bool, root+1)
	for i, n := range r.supportSizes(live) {
		if op := r.p.nodes[i].op; i != root && op != opInput && !r.p.nodes[i].truth {
			closed[i] = n == dominated[i]
		}
	}
	return closed
}

// liveNodes lists the nodes with a range under root, users first.
func (r *run) liveNodes(root int32) []int32 {
	seen := make([]bool, root+1)
	seen[root] = true
	var live []int32
	for i := root; i >= 0; i-- { // operands have lower numbers
		if !seen[i] || !r.ranged[i] {
			continue
		}
		live = append(live, i)
		for _, a := range r.operands(i) {
			seen[a] = true
		}
	}
	return live
}

// supportSizes counts the inputs with a range that each live node depends on.
func (r *run) supportSizes(live []int32) map[int32]int {
	number := map[int32]int{}
	for _, i := range live {
		if r.p.nodes[i].op == opInput {
			number[i] = len(number)
		}
	}
	words := (len(number) + 63) / 64
	sets, sizes := make(map[int32][]uint64, len(live)), make(map[int32]int, len(live))
	for k := len(live) - 1; k >= 0; k-- { // operands first
		i := live[k]
		set := make([]uint64, words)
		if n, ok := number[i]; ok {
			set[n/64] |= 1 << (n % 64)
		}
		for _, a := range r.operands(i) {
			for w, bitsOf := range sets[a] {
				set[w] |= bitsOf
			}
		}
		for _, w := range set {
			sizes[i] += bits.OnesCount64(w)
		}
		sets[i] = set
	}
	r.work -= len(live) * (words + 1)
	return sizes
}
