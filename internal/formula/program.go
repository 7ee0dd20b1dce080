package formula

import (
	"math"

	"hvproof/internal/quantity"
)

// MaxOperations is the largest program: operations and inputs, derived values
// put in, equal operations counted once.
const MaxOperations = 4096

// op is what an operation does. Comparisons have a third operand, the
// difference of the first two, by which they are decided where the same input
// stands on both sides.
type op uint8

const (
	opConst op = iota
	opInput
	opNeg
	opAdd
	opSub
	opMul
	opDiv
	opLn
	opExp
	opSqrt
	opAbs
	opMin
	opMax
	opSum
	opParallel
	opShare
	opCond
	// From here on the result is a condition.
	opLess
	opLessEqual
	opEqual
	opNot
	opAnd
	opOr
)

func (o op) isTruth() bool { return o >= opLess }

// node is one operation; its operands are earlier nodes.
type node struct {
	op     op
	truth  bool    // the result is a condition
	ranged bool    // depends on an input that has a range
	value  float64 // opConst
	input  int32   // opInput: index of the input
	args   []int32
	dim    quantity.Dim
	text   string // as written, for messages
}

// input is a value of the car, or a has or count of its parts.
type input struct {
	name            string
	lo, nominal, hi float64
	dim             quantity.Dim
	truth           bool   // a condition, 0 or 1
	part            bool   // has(…) or count(…): not a value of the file
	absent          string // not empty: missing, and where it would stand
}

func (in input) ranged() bool { return in.absent == "" && in.lo != in.hi }

// program is a formula as a list of operations in which operands come first
// and no operation stands twice.
type program struct {
	nodes  []node
	inputs []input
	known  map[key]int32
	byName map[string]int32
	full   bool // more than MaxOperations
}

// key tells operations apart.
type key struct {
	op   op
	bits uint64
	args string
}

func newProgram() *program {
	return &program{known: map[key]int32{}, byName: map[string]int32{}}
}

// add gives the node that does n, a new one if none does yet.
func (p *program) add(n node) int32 {
	k := key{op: n.op, bits: math.Float64bits(n.value) ^ uint64(n.input)}
	packed := make([]byte, 0, 4*len(n.args))
	for _, a := range n.args {
		packed = append(packed, byte(a), byte(a>>8), byte(a>>16), byte(a>>24))
		n.ranged = n.ranged || p.nodes[a].ranged
	}
	k.args = string(packed)
	if at, ok := p.known[k]; ok {
		return at
	}
	if len(p.nodes) >= MaxOperations {
		p.full = true
		return 0
	}
	at := int32(len(p.nodes))
	p.nodes = append(p.nodes, n)
	p.known[k] = at
	return at
}

// addInput gives the node of an input; ok is false if another input of that
// name has other values.
func (p *program) addInput(in input) (at int32, ok bool) {
	i, known := p.byName[in.name]
	if !known {
		i = int32(len(p.inputs))
		p.inputs = append(p.inputs, in)
		p.byName[in.name] = i
	} else if p.inputs[i] != in {
		return 0, false
	}
	return p.add(node{op: opInput, input: i, truth: in.truth, ranged: in.ranged(), dim: in.dim, text: in.name}), true
}

// include puts another program in and gives the node of its root.
func (p *program) include(other *program, root int32) (at int32, ok bool) {
	moved := make([]int32, root+1)
	for i, n := range other.nodes[:root+1] {
		if n.op == opInput {
			if moved[i], ok = p.addInput(other.inputs[n.input]); !ok {
				return 0, false
			}
			continue
		}
		args := make([]int32, len(n.args))
		for j, a := range n.args {
			args[j] = moved[a]
		}
		n.args = args
		moved[i] = p.add(n)
	}
	return moved[root], true
}

// inputsOf gives the names of the file's values that a node depends on, those
// with a range first.
func (p *program) inputsOf(at int32) []string {
	seen := make([]bool, at+1)
	var ranged, exact []string
	var walk func(int32)
	walk = func(i int32) {
		if seen[i] {
			return
		}
		seen[i] = true
		n := p.nodes[i]
		if n.op == opInput && n.ranged {
			ranged = append(ranged, p.inputs[n.input].name)
		} else if n.op == opInput && !p.inputs[n.input].part {
			exact = append(exact, p.inputs[n.input].name)
		}
		for _, a := range n.args {
			walk(a)
		}
	}
	walk(at)
	return append(ranged, exact...)
}
