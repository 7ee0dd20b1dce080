package formula

import (
	"strings"

	"hvproof/internal/diag"
)

// Definition is a derived value: a name of its own for a formula.
type Definition struct {
	Name   string
	Text   string
	At     diag.Place // of the first character of Text
	Source string     // line of the file, for the caret
	Want   Want
	Bind   map[string]Item // loop variables in Text
}

// Derive adds derived values to an Env. They may use each other in any order;
// one that leads back to itself is a fault. A definition with a fault is known
// but absent in the Env that is returned, so that it is reported once.
func Derive(env Env, definitions []Definition) (Env, diag.List) {
	d := &derivedEnv{env: env, by: map[string]*derivation{}}
	for i := range definitions {
		def := &definitions[i]
		if _, twice := d.by[def.Name]; twice {
			d.problems.Errorf(def.At, "", "%s is defined twice", def.Name)
			continue
		}
		d.by[def.Name] = &derivation{def: def}
		d.names = append(d.names, def.Name)
	}
	for _, n := range d.names {
		d.compile(d.by[n])
	}
	problems := d.problems
	problems.Sort()
	return d, problems
}

type derivedEnv struct {
	env      Env
	by       map[string]*derivation
	names    []string // in the order defined
	under    []string // being compiled, outermost first
	problems diag.List
}

type derivation struct {
	def     *Definition
	state   uint8
	formula *Formula
}

const (
	untouched uint8 = iota
	underWay
	settled
)

// compile settles one derived value and those it uses.
func (d *derivedEnv) compile(x *derivation) {
	switch x.state {
	case settled:
		return
	case underWay:
		at := 0
		for d.under[at] != x.def.Name {
			at++
		}
		circle := append(append([]string{}, d.under[at:]...), x.def.Name)
		d.problems.Errorf(x.def.At, "", "%s leads back to itself: %s", x.def.Name, strings.Join(circle, ", "))
		return
	}
	x.state = underWay
	d.under = append(d.under, x.def.Name)
	f, problems := Compile(x.def.Text, x.def.At, x.def.Source, Bind(d, x.def.Bind), x.def.Want)
	d.under = d.under[:len(d.under)-1]
	d.problems.Append(problems)
	x.formula, x.state = f, settled
}

func (d *derivedEnv) Resolve(name string) (Var, bool) {
	x, ok := d.by[name]
	if !ok {
		return d.env.Resolve(name)
	}
	d.compile(x)
	v := Var{Name: name, Dim: x.def.Want.Dim, IsBool: x.def.Want.Bool && !x.def.Want.Any}
	if x.formula == nil || x.state != settled {
		v.Absent = "its own formula has a fault"
		return v, true
	}
	v.Dim, v.IsBool, v.Derived = x.formula.dim, x.formula.truth, x.formula
	return v, true
}

// Match gives the names of the Env beneath, or where it has none the derived
// values that the pattern stands for, in the order defined.
func (d *derivedEnv) Match(pattern string) []string {
	if names := d.env.Match(pattern); len(names) > 0 {
		return names
	}
	var names []string
	for _, n := range d.names {
		if matches(pattern, n) {
			names = append(names, n)
		}
	}
	return names
}

// matches compares word by word; "*" stands for any word.
func matches(pattern, name string) bool {
	p, n := strings.Split(pattern, "."), strings.Split(name, ".")
	if len(p) != len(n) {
		return false
	}
	for i := range p {
		if p[i] != "*" && p[i] != n[i] {
			return false
		}
	}
	return true
}

func (d *derivedEnv) Names() []string {
	return append(append([]string(nil), d.env.Names()...), d.names...)
}
