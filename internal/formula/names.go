package formula

import (
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// mention is a place in the text where values of the car stand, for the
// formula with its numbers put in.
type mention struct {
	from, to int
	values   []Var
	pattern  bool
	text     string // has and count: what they came to
}

func isPattern(name string) bool { return strings.Contains(name, "*") }

// name gives the value of a dotted name.
func (c *checker) name(t *tree) term {
	if isPattern(t.text) {
		return c.fail(t.from, t.to, "for example sum("+t.text+")", "pattern %q stands for many values; only min, max, sum, parallel and count take it", t.text)
	}
	v, ok := c.env.Resolve(t.text)
	if !ok {
		return c.unknown(t)
	}
	x := c.value(t, t.text, v)
	if !x.bad {
		c.mentions = append(c.mentions, mention{from: t.from, to: t.to, values: []Var{v}})
	}
	return x
}

// unknown reports a name that means nothing.
func (c *checker) unknown(t *tree) term {
	names := c.env.Names()
	if _, ok := functions[t.text]; ok || t.text == "count" || t.text == "has" {
		return c.fail(t.from, t.to, "", "%s is a function and needs brackets", t.text)
	}
	for _, n := range names {
		if strings.HasPrefix(n, t.text+".") {
			return c.fail(t.from, t.to, "for example "+n, "%q is a part, not a value", t.text)
		}
	}
	hint := ""
	if near, ok := diag.Nearest(t.text, names); ok {
		hint = "did you mean " + near + "?"
	} else if _, err := quantity.Parse("1 " + t.text); err == nil {
		hint = "a unit needs a number before it, as in 1 " + t.text
	}
	return c.fail(t.from, t.to, hint, "unknown value %q", t.text)
}

// value puts a resolved value into the program.
func (c *checker) value(t *tree, name string, v Var) term {
	if v.Name == "" {
		v.Name = name
	}
	r := v.Range
	switch {
	case v.Absent != "":
	case v.Derived != nil:
		return c.include(t, v)
	case v.IsBool:
		r.Lo, r.Nominal, r.Hi = 0, 0, 0
		if v.Bool {
			r.Lo, r.Nominal, r.Hi = 1, 1, 1
		}
	case !finite(r.Lo) || !finite(r.Hi) || !(r.Lo <= r.Nominal && r.Nominal <= r.Hi):
		return c.fail(t.from, t.to, "", "the range of %s is not lowest <= nominal <= highest", v.Name)
	case r.Dim != v.Dim:
		return c.fail(t.from, t.to, "", "%s is declared as %s but given in %s", v.Name, dimName(v.Dim), dimName(r.Dim))
	}
	in := input{name: v.Name, lo: r.Lo, nominal: r.Nominal, hi: r.Hi, dim: v.Dim, truth: v.IsBool, absent: v.Absent}
	if v.Absent != "" {
		in.lo, in.nominal, in.hi = 0, 0, 0
	}
	return c.input(t, in)
}

// finite is false for infinities and NaN.
func finite(x float64) bool { return x-x == 0 }

func (c *checker) input(t *tree, in input) term {
	at, ok := c.f.program.addInput(in)
	if !ok {
		return c.fail(t.from, t.to, "", "%s has two different values in one formula", in.name)
	}
	return term{node: at, dim: in.dim, truth: in.truth}
}

// include puts the program of a derived value in.
func (c *checker) include(t *tree, v Var) term {
	d := v.Derived
	if d.truth != v.IsBool || !d.truth && d.dim != v.Dim {
		return c.fail(t.from, t.to, "", "%s is declared as %s but computed as %s", v.Name, dimName(v.Dim), dimName(d.dim))
	}
	at, known := c.derived[d]
	if !known {
		var ok bool
		if at, ok = c.f.program.include(d.program, d.root); !ok {
			return c.fail(t.from, t.to, "", "a value behind %s differs from the same value elsewhere in this formula", v.Name)
		}
		c.derived[d] = at
	}
	return term{node: at, dim: d.dim, truth: d.truth}
}

// pattern gives the values that a pattern stands for, at least one.
func (c *checker) pattern(t *tree) []term {
	var terms []term
	m := mention{from: t.from, to: t.to, pattern: true}
	for _, n := range c.env.Match(t.text) {
		v, ok := c.env.Resolve(n)
		if !ok {
			c.fail(t.from, t.to, "", "%q stands for %s, which is not a value", t.text, n)
			return []term{badTerm}
		}
		x := c.value(t, n, v)
		if x.bad {
			return []term{x}
		}
		terms, m.values = append(terms, x), append(m.values, v)
	}
	if len(terms) == 0 {
		v, ok := c.env.Resolve(t.text)
		if !ok || v.Absent == "" {
			return []term{c.fail(t.from, t.to, c.nearestPattern(t.text), "nothing in this car is called %q", t.text)}
		}
		x := c.input(t, input{name: t.text, dim: v.Dim, truth: v.IsBool, absent: v.Absent})
		terms, m.values = []term{x}, []Var{v}
	}
	c.mentions = append(c.mentions, m)
	return terms
}

// nearestPattern finds a likely spelling of a pattern that matches nothing.
func (c *checker) nearestPattern(pattern string) string {
	words := strings.Split(pattern, ".")
	var candidates []string
	for _, n := range c.env.Names() {
		parts := strings.Split(n, ".")
		if len(parts) != len(words) {
			continue
		}
		for i, w := range words {
			if w == "*" {
				parts[i] = "*"
			}
		}
		candidates = append(candidates, strings.Join(parts, "."))
	}
	if near, ok := diag.Nearest(pattern, candidates); ok && near != pattern {
		return "did you mean " + near + "?"
	}
	return ""
}
