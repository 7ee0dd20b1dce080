package formula

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/diag"
)

// has answers has(name): whether this car has the value or the part. A name
// that no car could have is an error, so that a typing error does not switch
// a limit off.
func (c *checker) has(t *tree) term {
	if len(t.args) != 1 || t.args[0].shape != shapeName || isPattern(t.args[0].text) {
		return c.fail(t.at, t.to, "for example has(pyro.all_fire)", "has needs one name")
	}
	arg := t.args[0]
	present, known := c.present(arg.text)
	if !known {
		return c.unknownPart(arg)
	}
	return c.part(t, "has("+arg.text+")", truthValue(present), true)
}

func truthValue(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// present says whether the car has a value or part, and whether any car could.
func (c *checker) present(name string) (present, known bool) {
	if v, ok := c.env.Resolve(name); ok {
		return v.present(), true
	}
	for _, n := range c.env.Names() {
		if !strings.HasPrefix(n, name+".") {
			continue
		}
		known = true
		if c.given(n, false) {
			return true, true
		}
	}
	for _, n := range c.env.Match(name + ".*") {
		if c.given(n, true) {
			return true, true
		}
		known = true
	}
	return false, known
}

// given says whether the car's file gives a value that the Env listed; a name
// that Match gave may also be an item, which has no value of its own. A
// derived value does not make a part: discharge.time can be computed in a car
// without a discharge circuit.
func (c *checker) given(name string, matched bool) bool {
	v, ok := c.env.Resolve(name)
	if !ok {
		return matched
	}
	return v.Absent == "" && v.Derived == nil
}

// present is false for an absent value and for a derived value that needs an
// absent one.
func (v Var) present() bool {
	if v.Absent != "" {
		return false
	}
	if v.Derived == nil {
		return true
	}
	_, err := v.Derived.Eval()
	var absent *AbsentError
	return !errors.As(err, &absent)
}

// count answers count(pattern): the number of items of a collection, or of
// values that a pattern stands for, that this car has.
func (c *checker) count(t *tree) term {
	if len(t.args) != 1 || t.args[0].shape != shapeName {
		return c.fail(t.at, t.to, "for example count(packs)", "count needs one name or pattern")
	}
	arg := t.args[0]
	n, known := c.items(arg.text)
	if !known {
		return c.unknownPart(arg)
	}
	return c.part(t, "count("+arg.text+")", float64(n), false)
}

// items counts what a pattern or the name of a collection stands for.
func (c *checker) items(text string) (n int, known bool) {
	if isPattern(text) {
		for _, name := range c.env.Match(text) {
			if v, ok := c.env.Resolve(name); !ok || v.present() {
				n++
			}
		}
		if n > 0 {
			return n, true
		}
		_, known = c.env.Resolve(text)
		return 0, known
	}
	for _, name := range c.env.Match(text + ".*") {
		known = true
		if c.given(name, true) {
			n++
		}
	}
	if n > 0 {
		return n, true
	}
	seen := map[string]bool{}
	for _, name := range c.env.Names() {
		rest, ok := strings.CutPrefix(name, text+".")
		if !ok {
			continue
		}
		known = true
		if c.given(name, false) {
			item, _, _ := strings.Cut(rest, ".")
			seen[item] = true
		}
	}
	if !known {
		_, known = c.env.Resolve(text)
	}
	return len(seen), known
}

// part puts the answer of has or count into the program. It is an input too:
// a report shows it, and an audit sees when a part was deleted.
func (c *checker) part(t *tree, name string, value float64, truth bool) term {
	text := strconv.FormatFloat(value, 'f', -1, 64)
	if truth {
		text = strconv.FormatBool(value == 1)
	}
	c.mentions = append(c.mentions, mention{from: t.from, to: t.to, text: text})
	return c.input(t, input{name: name, lo: value, nominal: value, hi: value, truth: truth, part: true})
}

// unknownPart reports a name in has or count that no car could have.
func (c *checker) unknownPart(t *tree) term {
	var candidates []string
	seen := map[string]bool{}
	for _, n := range c.env.Names() {
		for to := len(n); to > 0; to = strings.LastIndexByte(n[:to], '.') {
			if !seen[n[:to]] {
				seen[n[:to]] = true
				candidates = append(candidates, n[:to])
			}
		}
	}
	hint := ""
	if near, ok := diag.Nearest(t.text, candidates); ok {
		hint = fmt.Sprintf("did you mean %s?", near)
	}
	return c.fail(t.from, t.to, hint, "no car has a value or part called %q", t.text)
}
