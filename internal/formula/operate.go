package formula

import "math"

// plainly is what an operation gives in float64 arithmetic, for operands in
// its domain. Conditions are 1 and 0; opCond, opAnd and opOr are not here,
// because they do not look at all their operands.
func plainly(o op, x []float64) float64 {
	switch o {
	case opNeg:
		return -x[0]
	case opAdd:
		return x[0] + x[1]
	case opSub:
		return x[0] - x[1]
	case opMul:
		return x[0] * x[1]
	case opDiv:
		return x[0] / x[1]
	case opLn:
		return math.Log(x[0])
	case opExp:
		return math.Exp(x[0])
	case opSqrt:
		return math.Sqrt(x[0])
	case opAbs:
		return math.Abs(x[0])
	case opShare:
		return x[0] / (x[0] + x[1])
	case opLess:
		return truthValue(x[0] < x[1])
	case opLessEqual:
		return truthValue(x[0] <= x[1])
	case opEqual:
		return truthValue(x[0] == x[1])
	case opNot:
		return 1 - x[0]
	}
	r := x[0]
	for _, y := range x[1:] {
		switch o {
		case opMin:
			r = min(r, y)
		case opMax:
			r = max(r, y)
		case opSum:
			r += y
		}
	}
	if o == opParallel && len(x) > 1 {
		r = 0
		for _, y := range x {
			r += 1 / y
		}
		r = 1 / r
	}
	return r
}

// outward encloses what an operation gives over ranges of its operands, which
// are in its domain. It is for the operations that give a number, without
// opCond.
func outward(o op, x []interval, same bool) interval {
	a := x[0]
	switch o {
	case opNeg:
		return a.neg()
	case opAdd:
		return a.add(x[1])
	case opSub:
		if same {
			return interval{}
		}
		return a.sub(x[1])
	case opMul:
		if same {
			return a.square()
		}
		return a.mul(x[1])
	case opDiv:
		if same {
			return point(1)
		}
		return a.div(x[1])
	case opLn:
		return interval{logDown(a.lo), logUp(a.hi)}
	case opExp:
		return interval{expDown(a.lo), expUp(a.hi)}
	case opSqrt:
		return interval{sqrtDown(a.lo), sqrtUp(a.hi)}
	case opAbs:
		return a.abs()
	case opShare:
		b := x[1]
		if same {
			return point(0.5)
		}
		return interval{divDown(a.lo, addUp(a.lo, b.hi)), divUp(a.hi, addDown(a.hi, b.lo))}
	case opParallel:
		return parallelOf(x)
	}
	for _, y := range x[1:] {
		switch o {
		case opMin:
			a = interval{min(a.lo, y.lo), min(a.hi, y.hi)}
		case opMax:
			a = interval{max(a.lo, y.lo), max(a.hi, y.hi)}
		case opSum:
			a = a.add(y)
		}
	}
	return a
}

// parallelOf rises with every operand, so that its ends are at theirs.
func parallelOf(x []interval) interval {
	if len(x) == 1 {
		return x[0]
	}
	var most, least float64 // conductance at the lowest and the highest ends
	for _, y := range x {
		most, least = addUp(most, divUp(1, y.lo)), addDown(least, divDown(1, y.hi))
	}
	return interval{divDown(1, most), divUp(1, least)}
}

// decide compares over ranges: by the operands if they are apart, else by
// their difference, in which what both sides share may have cancelled.
func decide(o op, a, b, difference interval, same bool) truth {
	switch {
	case same:
		return truthOf(o != opLess)
	case o == opEqual && (a.hi < b.lo || b.hi < a.lo || !difference.holds0()):
		return no
	case o == opEqual && a.isPoint() && a == b:
		return yes
	case o == opLess && (a.hi < b.lo || difference.hi < 0),
		o == opLessEqual && (a.hi <= b.lo || difference.hi <= 0):
		return yes
	case o == opLess && (a.lo >= b.hi || difference.lo >= 0),
		o == opLessEqual && (a.lo > b.hi || difference.lo > 0):
		return no
	}
	return undecided
}

// both is a && b, either is a || b.
func both(a, b truth) truth {
	switch {
	case a == no || b == no:
		return no
	case a == yes && b == yes:
		return yes
	}
	return undecided
}

func either(a, b truth) truth { return both(a.not(), b.not()).not() }
