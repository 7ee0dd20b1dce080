package formula

import "fmt"

// at evaluates a program at one value for each input, in float64 arithmetic.
type plainRun struct {
	p    *program
	in   []float64 // by input
	done []bool
	val  []float64
}

func (p *program) plain(root int32, in []float64) (float64, error) {
	r := &plainRun{p: p, in: in, done: make([]bool, root+1), val: make([]float64, root+1)}
	return r.eval(root)
}

func (r *plainRun) eval(i int32) (float64, error) {
	if r.done[i] {
		return r.val[i], nil
	}
	v, err := r.compute(i)
	if err != nil {
		return 0, err
	}
	if !finite(v) {
		return 0, r.p.tooLarge(i)
	}
	r.done[i], r.val[i] = true, v
	return v, nil
}

func (r *plainRun) compute(i int32) (float64, error) {
	n := &r.p.nodes[i]
	switch n.op {
	case opConst:
		return n.value, nil
	case opInput:
		in := &r.p.inputs[n.input]
		if in.absent != "" {
			return 0, &AbsentError{in.name, in.absent}
		}
		return r.in[n.input], nil
	case opCond, opAnd, opOr:
		first, err := r.eval(n.args[0])
		if err != nil {
			return 0, err
		}
		switch {
		case n.op == opCond && first == 0:
			return r.eval(n.args[2])
		case n.op == opAnd && first == 0, n.op == opOr && first != 0:
			return first, nil
		}
		return r.eval(n.args[1])
	}
	args := n.args
	if n.op.isTruth() && len(args) == 3 {
		args = args[:2] // the difference is for ranges
	}
	x, points := make([]float64, len(args)), make([]interval, len(args))
	for j, a := range args {
		v, err := r.eval(a)
		if err != nil {
			return 0, err
		}
		x[j], points[j] = v, point(v)
	}
	if which, operation, reason, bad := outside(n.op, points); bad {
		return 0, r.p.domain(operation, reason, args[which], points[which])
	}
	return plainly(n.op, x), nil
}

// At evaluates the formula in plain arithmetic with the given values (SI, by
// path) in place of the nominal ones, as a check of Eval: at LoAt it gives Lo
// but for rounding. A condition is 1 or 0. A path that the formula does not
// use is an error.
func (f *Formula) At(values map[string]float64) (float64, error) {
	in := make([]float64, len(f.program.inputs))
	for i, x := range f.program.inputs {
		in[i] = x.nominal
	}
	for name, v := range values {
		i, ok := f.program.byName[name]
		if !ok {
			return 0, fmt.Errorf("%s is not used by %s", name, f.text)
		}
		in[i] = v
	}
	return f.program.plain(f.root, in)
}
