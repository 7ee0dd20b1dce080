package formula

import (
	"fmt"

	"hvproof/internal/quantity"
)

// checker turns a tree into a program, checking names and dimensions.
type checker struct {
	f        *Formula
	env      Env
	derived  map[*Formula]int32
	faults   []fault
	mentions []mention
	choices  []choice
}

// term is a checked part of a formula.
type term struct {
	node    int32
	dim     quantity.Dim
	truth   bool
	celsius bool // a point on the temperature scale
	bad     bool // has a fault that is already reported
}

var badTerm = term{bad: true}

// fail reports a fault at some bytes of the formula.
func (c *checker) fail(from, to int, hint, format string, a ...any) term {
	c.faults = append(c.faults, fault{from, to, fmt.Sprintf(format, a...), hint})
	return badTerm
}

// emit adds an operation for the tree t.
func (c *checker) emit(t *tree, o op, dim quantity.Dim, args ...int32) term {
	isTruth := o.isTruth()
	if o == opCond {
		isTruth = c.f.program.nodes[args[1]].truth
	}
	at := c.f.program.add(node{op: o, truth: isTruth, dim: dim, args: args, text: c.f.text[t.from:t.to]})
	return term{node: at, dim: dim, truth: isTruth}
}

func (c *checker) check(t *tree) term {
	switch t.shape {
	case shapeLiteral:
		at := c.f.program.add(node{op: opConst, value: t.value.SI, dim: t.value.Dim, text: t.text})
		return term{node: at, dim: t.value.Dim, celsius: t.celsius}
	case shapeName:
		return c.name(t)
	case shapeUnary:
		return c.unary(t)
	case shapeBinary:
		return c.binary(t)
	case shapeCond:
		return c.cond(t)
	}
	return c.call(t)
}

func (c *checker) unary(t *tree) term {
	x := c.check(t.args[0])
	switch {
	case x.bad:
		return x
	case t.text == "!" && !x.truth:
		return c.fail(t.at, t.past, "! turns a condition round", "! needs a condition, not %s", x.kind())
	case t.text == "!":
		return c.emit(t, opNot, x.dim, x.node)
	case x.truth:
		return c.fail(t.at, t.past, "", "cannot take the negative of a condition")
	case x.celsius:
		return c.fail(t.at, t.past, celsiusHint, "cannot take the negative of a temperature in °C")
	}
	return c.emit(t, opNeg, x.dim, x.node)
}

func (c *checker) binary(t *tree) term {
	a, b := c.check(t.args[0]), c.check(t.args[1])
	if a.bad || b.bad {
		return badTerm
	}
	switch t.text {
	case "&&", "||":
		if !a.truth || !b.truth {
			return c.fail(t.at, t.past, "", "%s needs conditions, not %s and %s", t.text, a.kind(), b.kind())
		}
		if t.text == "&&" {
			return c.emit(t, opAnd, quantity.Dim{}, a.node, b.node)
		}
		return c.emit(t, opOr, quantity.Dim{}, a.node, b.node)
	case "==", "!=":
		if a.truth && b.truth {
			return c.sameTruth(t, a, b)
		}
	}
	if a.truth || b.truth {
		and := "and"
		if verb(t.text) == "compare" {
			and = "with"
		}
		return c.fail(t.at, t.past, "", "cannot %s %s %s %s", verb(t.text), a.kind(), and, b.kind())
	}
	switch t.text {
	case "+", "-":
		return c.additive(t, a, b)
	case "*", "/":
		return c.product(t, a, b)
	}
	return c.compare(t, a, b)
}

// verb says in messages what an operator does.
func verb(operator string) string {
	switch operator {
	case "+":
		return "add"
	case "-":
		return "subtract"
	case "*":
		return "multiply"
	case "/":
		return "divide"
	}
	return "compare"
}

const celsiusHint = "°C is a point on the scale; a difference of temperatures is written in K"

func (c *checker) additive(t *tree, a, b term) term {
	switch {
	case a.dim != b.dim && t.text == "+":
		return c.fail(t.at, t.past, zeroHint(a, b), "cannot add %s and %s", a.kind(), b.kind())
	case a.dim != b.dim:
		return c.fail(t.at, t.past, zeroHint(a, b), "cannot subtract %s from %s", b.kind(), a.kind())
	case t.text == "+" && a.celsius && b.celsius:
		return c.fail(t.at, t.past, celsiusHint, "cannot add two temperatures in °C")
	case t.text == "-" && !a.celsius && b.celsius && t.args[0].shape == shapeLiteral:
		return c.fail(t.at, t.past, celsiusHint, "cannot subtract a temperature in °C from a difference")
	case t.text == "+":
		sum := c.emit(t, opAdd, a.dim, a.node, b.node)
		sum.celsius = a.celsius || b.celsius
		return sum
	}
	difference := c.emit(t, opSub, a.dim, a.node, b.node)
	difference.celsius = a.celsius && !b.celsius
	return difference
}

func (c *checker) product(t *tree, a, b term) term {
	if a.celsius || b.celsius {
		return c.fail(t.at, t.past, celsiusHint, "cannot %s a temperature in °C", verb(t.text))
	}
	sign, o := 1, opMul
	if t.text == "/" {
		sign, o = -1, opDiv
	}
	dim, ok := combine(a.dim, b.dim, sign)
	if !ok {
		return c.fail(t.at, t.past, "", "unit with an exponent too large")
	}
	return c.emit(t, o, dim, a.node, b.node)
}

func (c *checker) compare(t *tree, a, b term) term {
	if a.dim != b.dim {
		return c.fail(t.at, t.past, zeroHint(a, b), "cannot compare %s with %s", a.kind(), b.kind())
	}
	o, left, right := opLess, a.node, b.node
	if t.text == ">" || t.text == ">=" {
		left, right = right, left
	}
	switch t.text {
	case "<=", ">=":
		o = opLessEqual
	case "==", "!=":
		o = opEqual
	}
	difference := c.f.program.add(node{op: opSub, dim: a.dim, args: []int32{left, right}, text: c.f.text[t.from:t.to]})
	r := c.emit(t, o, quantity.Dim{}, left, right, difference)
	if t.text == "!=" {
		return c.emit(t, opNot, quantity.Dim{}, r.node)
	}
	return r
}

// sameTruth compares two conditions: a == b is (a && b) || (!a && !b).
func (c *checker) sameTruth(t *tree, a, b term) term {
	var none quantity.Dim
	both := c.emit(t, opAnd, none, a.node, b.node)
	neither := c.emit(t, opAnd, none, c.emit(t, opNot, none, a.node).node, c.emit(t, opNot, none, b.node).node)
	same := c.emit(t, opOr, none, both.node, neither.node)
	if t.text == "!=" {
		return c.emit(t, opNot, none, same.node)
	}
	return same
}

func (c *checker) cond(t *tree) term {
	test, yes, no := c.check(t.args[0]), c.check(t.args[1]), c.check(t.args[2])
	switch {
	case !test.bad && !test.truth:
		return c.fail(t.args[0].from, t.args[0].to, "for example has(pyro) or x.y > 1 V", "%s stands before ?, a condition is wanted", test.kind())
	case test.bad || yes.bad || no.bad:
		return badTerm
	case yes.truth != no.truth || yes.dim != no.dim:
		return c.fail(t.args[1].from, t.args[2].to, zeroHint(yes, no), "the two sides of : differ, %s and %s", yes.kind(), no.kind())
	}
	c.choices = append(c.choices, choice{t.from, t.to, test.node, t.args[1], t.args[2]})
	r := c.emit(t, opCond, yes.dim, test.node, yes.node, no.node)
	r.celsius = yes.celsius || no.celsius
	return r
}

// maxDerivatives bounds the table of derivatives, operations by inputs.
const maxDerivatives = 1 << 20

// bounded refuses a formula over more toleranced values than can be bounded.
func (c *checker) bounded(t *tree) {
	operations, inputs := 0, 0
	for _, n := range c.f.program.nodes {
		if n.ranged {
			operations++
		}
	}
	for _, in := range c.f.program.inputs {
		if in.ranged() {
			inputs++
		}
	}
	if operations*inputs > maxDerivatives {
		c.fail(t.from, t.to, "break it up", "%d operations over %d values with a tolerance are too many", operations, inputs)
	}
}
