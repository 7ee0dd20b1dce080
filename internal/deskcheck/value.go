package deskcheck

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// A Value is a number that follows from the car's by the physics of package
// hv, SI, over all tolerances.
type Value struct {
	Name    string // as formulas have it
	Dim     quantity.Dim
	Meaning string
	Formula string // in words and signs, with its source
	Absent  string // why it has no value in this car; the rest is then empty

	Lo, Nominal, Hi float64
	Inputs          []plan.Input
	LowAt, HighAt   map[string]float64 // the inputs that make it lowest and highest
	Note            string             // which part is meant, where that is the answer
}

// An input is one value of the car that a physics value rests on.
type input struct {
	name  string
	up    bool // a higher input makes the value higher
	value quantity.Range
}

// gather collects the inputs of one value; the first that is missing is
// what the value is absent for.
type gather struct {
	car    *vehicle.Vehicle
	inputs []input
	absent string
}

// take gives the index of a named value of the car, stated or derived.
func (g *gather) take(name string, up bool) int {
	r, err := number(g.car, name)
	if err != nil && g.absent == "" {
		g.absent = err.Error()
	}
	g.inputs = append(g.inputs, input{name, up, r})
	return len(g.inputs) - 1
}

// takeValue takes a value of this package that another rests on.
func (g *gather) takeValue(name string, v Value, up bool) int {
	g.absent = first(g.absent, v.Absent)
	g.inputs = append(g.inputs, input{name, up, quantity.Range{Lo: v.Lo, Nominal: v.Nominal, Hi: v.Hi, Dim: v.Dim}})
	return len(g.inputs) - 1
}

// or takes a value, or what stands for it where the file may be silent by
// its own meaning, such as no delay.
func (g *gather) or(name string, up bool, otherwise float64) int {
	if r, err := number(g.car, name); err == nil {
		g.inputs = append(g.inputs, input{name, up, r})
	} else {
		g.inputs = append(g.inputs, input{"", up, quantity.Range{Lo: otherwise, Nominal: otherwise, Hi: otherwise}})
	}
	return len(g.inputs) - 1
}

// number gives a stated or derived number of the car. The error says which
// one is missing and where it would stand.
func number(car *vehicle.Vehicle, name string) (quantity.Range, error) {
	if r, _, ok := car.Value(name); ok {
		return r, nil
	}
	v, ok := car.Env().Resolve(name)
	switch {
	case !ok:
		return quantity.Range{}, fmt.Errorf("%s is missing", name)
	case v.Absent != "":
		return quantity.Range{}, fmt.Errorf("%s is missing: %s", name, v.Absent)
	case v.Derived == nil:
		return quantity.Range{}, fmt.Errorf("%s is no number", name)
	}
	return car.DerivedValue(name)
}

// evaluate puts the corners into f: lowest, nominal, highest.
func (g *gather) evaluate(v Value, f func(x []float64) float64) Value {
	if v.Absent = g.absent; v.Absent != "" {
		return v
	}
	low, mid, high := make([]float64, len(g.inputs)), make([]float64, len(g.inputs)), make([]float64, len(g.inputs))
	v.LowAt, v.HighAt = map[string]float64{}, map[string]float64{}
	for i, in := range g.inputs {
		low[i], mid[i], high[i] = in.value.Lo, in.value.Nominal, in.value.Hi
		if !in.up {
			low[i], high[i] = in.value.Hi, in.value.Lo
		}
		if in.name == "" {
			continue
		}
		v.Inputs = append(v.Inputs, plan.Input{Name: in.name, Lo: in.value.Lo + 0, Hi: in.value.Hi + 0, Dim: in.value.Dim})
		v.LowAt[in.name], v.HighAt[in.name] = low[i], high[i]
	}
	v.Lo, v.Nominal, v.Hi = f(low), f(mid), f(high)
	for _, x := range []float64{v.Lo, v.Nominal, v.Hi} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return Value{Name: v.Name, Dim: v.Dim, Meaning: v.Meaning, Formula: v.Formula, Inputs: v.Inputs, Absent: "it has no finite value over the tolerances of the car"}
		}
	}
	return v
}

// outward sets right what the last bits of three computations of the same
// number do to lowest <= nominal <= highest. A larger disorder stays: it says
// that an end of an input was taken the wrong way round.
func outward(lo, nominal, hi float64) (float64, float64) {
	least, most := min(lo, nominal, hi), max(lo, nominal, hi)
	if last := 1e-12 * max(math.Abs(least), math.Abs(most)); lo-least > last || most-hi > last {
		return lo, hi
	}
	return least, most
}

// Names are a car's names with those of this package, for formulas.
type Names struct {
	formula.Env
	car    *vehicle.Vehicle
	names  []string
	makers map[string]func() Value
}

// Env gives the car's names with those of the table. A value is computed when
// a formula asks for it.
func Env(car *vehicle.Vehicle) *Names {
	e := &Names{Env: car.Env(), car: car, makers: map[string]func() Value{}}
	for _, m := range makers(car) {
		e.names = append(e.names, m.name)
		e.makers[m.name] = m.make
	}
	return e
}

// Resolve gives the value of a name.
func (e *Names) Resolve(name string) (formula.Var, bool) {
	m, ok := e.makers[name]
	if !ok {
		if r, known := e.pattern(name); known {
			return r, true
		}
		return e.Env.Resolve(name)
	}
	v := m()
	return formula.Var{Name: name, Dim: v.Dim, Absent: v.Absent,
		Range: quantity.Range{Lo: v.Lo, Nominal: v.Nominal, Hi: v.Hi, Dim: v.Dim}}, true
}

// pattern gives the dimension of a pattern that no item of this car fits.
func (e *Names) pattern(name string) (formula.Var, bool) {
	if !strings.Contains(name, "*") {
		return formula.Var{}, false
	}
	for _, k := range kinds {
		if k.pattern == name && len(e.Match(name)) == 0 {
			return formula.Var{Name: name, Dim: k.dim, Absent: "vehicle.yaml has no " + strings.Split(name, ".")[0]}, true
		}
	}
	return formula.Var{}, false
}

// Match gives the names that a pattern stands for.
func (e *Names) Match(pattern string) []string {
	for _, k := range kinds {
		if k.pattern == pattern {
			return k.names(e.car)
		}
	}
	return e.Env.Match(pattern)
}

// Names gives every name.
func (e *Names) Names() []string { return append(append([]string{}, e.Env.Names()...), e.names...) }

// Find gives one of them, if the name is one.
func (e *Names) Find(name string) (Value, bool) {
	m, ok := e.makers[name]
	if !ok {
		return Value{}, false
	}
	return m(), true
}

// Underlying adds to the inputs of a formula what the values of this package
// among them rest on, down to the car's own numbers, so that a frozen plan
// names those.
func (e *Names) Underlying(inputs []plan.Input) []plan.Input {
	out := slices.Clone(inputs)
	for i := 0; i < len(out); i++ {
		v, ok := e.Find(out[i].Name)
		if ok {
			out = append(out, fresh(out, v.Inputs)...)
		} else if i >= len(inputs) {
			out = append(out, fresh(out, e.derivedFrom(out[i].Name))...)
		}
	}
	return out
}

// derivedFrom gives what a derived number of the car rests on.
func (e *Names) derivedFrom(name string) []plan.Input {
	v, ok := e.Env.Resolve(name)
	if !ok || v.Derived == nil {
		return nil
	}
	r, err := v.Derived.Eval()
	if err != nil {
		return nil
	}
	var out []plan.Input
	for _, in := range r.Inputs {
		out = append(out, plan.Input{Name: in.Name, Lo: in.Lo + 0, Hi: in.Hi + 0, Dim: in.Dim})
	}
	return out
}

// fresh gives those of some inputs that are not in a list yet.
func fresh(have, more []plan.Input) []plan.Input {
	var out []plan.Input
	for _, u := range more {
		if !slices.ContainsFunc(have, func(o plan.Input) bool { return o.Name == u.Name }) {
			out = append(out, u)
		}
	}
	return out
}
