package formula

import (
	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// function is a function of the language; few and many bound its arguments,
// many 0 is any number. Where wild is true an argument may be a pattern.
type function struct {
	op        op
	few, many int
	wild      bool
}

// functions are all but count and has, which take names and not values.
var functions = map[string]function{
	"abs": {opAbs, 1, 1, false}, "sqrt": {opSqrt, 1, 1, false}, "ln": {opLn, 1, 1, false}, "exp": {opExp, 1, 1, false},
	"min": {opMin, 1, 0, true}, "max": {opMax, 1, 0, true}, "sum": {opSum, 1, 0, true}, "parallel": {opParallel, 1, 0, true},
	"share": {opShare, 2, 2, false},
}

var functionNames = []string{"abs", "sqrt", "ln", "exp", "min", "max", "sum", "parallel", "share", "count", "has"}

// otherNames are what functions are called elsewhere.
var otherNames = map[string]string{"log": "ln", "sqr": "sqrt", "minimum": "min", "maximum": "max", "par": "parallel", "len": "count", "exists": "has", "defined": "has"}

func (c *checker) call(t *tree) term {
	switch t.text {
	case "has":
		return c.has(t)
	case "count":
		return c.count(t)
	}
	fn, ok := functions[t.text]
	if !ok {
		hint := "functions: abs sqrt ln exp min max sum parallel share count has"
		if other, ok := otherNames[t.text]; ok {
			hint = "did you mean " + other + "?"
		} else if near, ok := diag.Nearest(t.text, functionNames); ok {
			hint = "did you mean " + near + "?"
		}
		return c.fail(t.at, t.past, hint, "unknown function %q", t.text)
	}
	terms, bad := c.arguments(t, fn)
	switch {
	case bad:
		return badTerm
	case len(terms) < fn.few:
		return c.fail(t.at, t.to, "", "%s needs %s, got %d", t.text, plural(fn.few), len(terms))
	case fn.many > 0 && len(terms) > fn.many:
		return c.fail(t.at, t.to, "", "%s needs %s, got %d", t.text, plural(fn.many), len(terms))
	}
	return c.apply(t, fn, terms)
}

func plural(n int) string {
	if n == 1 {
		return "one value"
	}
	return "two values"
}

// arguments checks the arguments of a function and unfolds patterns.
func (c *checker) arguments(t *tree, fn function) (terms []term, bad bool) {
	for _, arg := range t.args {
		var got []term
		if arg.shape == shapeName && isPattern(arg.text) && fn.wild {
			got = c.pattern(arg)
		} else {
			got = []term{c.check(arg)}
		}
		for _, x := range got {
			switch {
			case x.bad:
				bad = true
			case x.truth:
				c.fail(arg.from, arg.to, "", "%s needs values, not conditions", t.text)
				bad = true
			case len(terms) > 0 && x.dim != terms[0].dim:
				c.fail(arg.from, arg.to, zeroHint(terms[0], x), "%s of %s and %s", t.text, terms[0].kind(), x.kind())
				bad = true
			}
			terms = append(terms, x)
			if bad {
				break
			}
		}
	}
	return terms, bad
}

// apply checks what a function does with the dimensions of its arguments.
func (c *checker) apply(t *tree, fn function, terms []term) term {
	dim, celsius := terms[0].dim, false
	nodes := make([]int32, len(terms))
	for i, x := range terms {
		nodes[i], celsius = x.node, celsius || x.celsius
	}
	if celsius && fn.op != opMin && fn.op != opMax {
		return c.fail(t.at, t.past, celsiusHint, "%s of a temperature in °C", t.text)
	}
	switch fn.op {
	case opLn, opExp:
		if dim != (quantity.Dim{}) {
			return c.fail(t.args[0].from, t.args[0].to, "divide by a value of the same unit", "%s needs a plain number, not %s", t.text, dimName(dim))
		}
	case opSqrt:
		half, ok := root(dim)
		if !ok {
			return c.fail(t.args[0].from, t.args[0].to, "", "cannot take the square root of %s", dimName(dim))
		}
		dim = half
	case opShare:
		dim = quantity.Dim{}
	case opMin, opMax, opSum, opParallel:
		if len(nodes) == 1 && fn.op != opParallel {
			x := terms[0]
			return x
		}
	}
	r := c.emit(t, fn.op, dim, nodes...)
	r.celsius = celsius
	return r
}
