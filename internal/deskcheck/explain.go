package deskcheck

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/hv"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// A Line is one line of a page: a word at the margin, or none where the line
// goes on, and its text.
type Line struct{ Word, Text string }

// A Page explains for one car where values and limits come from.
type Page struct {
	car   *vehicle.Vehicle
	names *Names
}

// NewPage begins a page.
func NewPage(car *vehicle.Vehicle) Page { return Page{car, Env(car)} }

// Check explains a desk check: its value, what that rests on, the worst
// corner, every limit, and what happens if it is exceeded.
func (p Page) Check(c Check) []Line {
	s := c.Step
	out := []Line{{"check", s.Text}}
	if c.Missing != "" {
		return append(out, Line{"not checked", c.Missing}, Line{"if exceeded", s.Purpose})
	}
	part := first(append(slices.Clone(s.Parts), "")...)
	out = append(out, Line{"value", c.Value.Formula})
	for _, text := range p.expression(c.Value.Formula, c.Value.Substituted, part) {
		out = append(out, Line{"", text})
	}
	v := c.Value
	out = append(out, Line{"", fmt.Sprintf("= %s … %s, nominal %s", show(v.Lo, v.Dim), show(v.Hi, v.Dim), show(v.Nominal, v.Dim))})
	out = append(out, p.numbers(v.Inputs)...)
	for _, b := range s.Bounds {
		out = append(out, p.limit(c, b, part)...)
	}
	if len(s.Limits()) == 0 {
		out = append(out, Line{"decision", "shown, not limited"})
	}
	out = append(out, p.bands(part)...)
	return append(out, Line{"if exceeded", s.Purpose})
}

// Note says which part a check's value is about, where that is the answer: the
// first fuse of all, the pack that was lost.
func (p Page) Note(c Check) string {
	if c.Value == nil {
		return ""
	}
	v, _ := p.names.Find(p.concrete(c.Value.Formula, first(append(slices.Clone(c.Step.Parts), "")...)))
	return v.Note
}

func (p Page) limit(c Check, b plan.Bound, part string) []Line {
	by := b.Rules
	if by == "" {
		by = "the procedure"
	}
	out := []Line{{"limit", fmt.Sprintf("%s   %s of %s", b.Bound, b.ID, by)}, {"", "= " + b.Formula}}
	lines := p.expression(b.Formula, b.Substituted, part)
	if len(lines) == 0 && b.Substituted != b.Formula {
		lines = []string{"= " + b.Substituted}
	}
	for _, text := range lines {
		out = append(out, Line{"", text})
	}
	worstIsLow := b.Kind == quantity.AtLeast
	if at := p.corner(c.Value.Formula, part, worstIsLow); at != "" {
		out = append(out, Line{"worst corner", at})
	}
	if at := p.Corner(b, part); at != "" {
		out = append(out, Line{"of the limit", at})
	}
	out = append(out, Line{"source", b.Source})
	decision := "kept: " + c.Worst(b.Bound)
	for _, r := range c.Refused {
		if r.ID == b.ID && r.Rules == b.Rules {
			decision = "REFUSED: " + c.Worst(b.Bound) + ", " + b.Bound.String() + " is asked for"
		}
	}
	if !b.Governs {
		decision = "another limit is stricter"
	}
	return append(out, Line{"decision", decision})
}

// numbers lists the car's numbers that something rests on, with their places.
func (p Page) numbers(inputs []plan.Input) []Line {
	var out []Line
	for _, in := range inputs {
		r := quantity.Range{Lo: in.Lo, Nominal: in.Lo, Hi: in.Hi, Dim: in.Dim}
		text := fmt.Sprintf("%-34s %s", in.Name, r)
		if answer, ok := p.Answer(in); ok {
			text = fmt.Sprintf("%-34s %s", in.Name, answer)
		}
		if at, ok := p.car.Place(in.Name); ok {
			text = fmt.Sprintf("%-34s %-24s %s", in.Name, at.Text, at.At)
		}
		word := ""
		if len(out) == 0 {
			word = "numbers"
		}
		out = append(out, Line{word, text})
	}
	return out
}

// Answer gives "yes" or "no" for an input that is a condition: has(pyro), or a
// truth of the car's file.
func (p Page) Answer(in plan.Input) (string, bool) {
	if v, ok := p.names.Resolve(in.Name); !strings.HasPrefix(in.Name, "has(") && !(ok && v.IsBool) {
		return "", false
	}
	if in.Lo == 0 {
		return "no", true
	}
	return "yes", true
}

var bare = regexp.MustCompile(`^[a-z][a-z0-9_]*(\.[a-z0-9_]+)+$`)

// concrete gives the full name that a name in a loop stands for.
func (p Page) concrete(name, part string) string {
	if _, ok := p.names.Resolve(name); ok {
		return name
	}
	if _, rest, ok := strings.Cut(name, "."); ok && part != "" {
		return part + "." + rest
	}
	return name
}

// expression says what a formula that is only a name stands for, or takes only
// one for this car.
func (p Page) expression(text, substituted, part string) []string {
	if r, ok := p.evaluate(text, part); ok && r.Taken != text && bare.MatchString(r.Taken) {
		return append([]string{"= " + r.Taken}, p.expression(r.Taken, substituted, part)...)
	}
	if !bare.MatchString(text) {
		if text == substituted {
			return nil
		}
		return []string{"= " + substituted}
	}
	name := p.concrete(text, part)
	if v, ok := p.names.Find(name); ok {
		out := []string{v.Meaning + ":", v.Formula}
		if v.Note != "" {
			out = append(out, v.Note)
		}
		return out
	}
	for _, d := range p.car.Derived() {
		if d.Name == name && d.Formula != nil {
			r, err := d.Formula.Eval()
			if err != nil {
				return []string{"= " + d.Formula.Text()}
			}
			return p.steps(r, name)
		}
	}
	return nil
}

// steps gives a derived value's formula as this car takes it, its item called by
// its name, and with the numbers put in.
func (p Page) steps(r formula.Result, name string) []string {
	text := r.Taken
	if words := strings.Split(name, "."); len(words) > 2 {
		text = itemWord.ReplaceAllString(text, strings.Join(words[:2], ".")+".")
	}
	out := []string{"= " + text}
	if r.Substituted != r.Taken {
		out = append(out, "= "+r.Substituted)
	}
	return out
}

// itemWord is what the table of derived values calls an item.
var itemWord = regexp.MustCompile(`\bitem\.`)

// Corner says at which ends of the car's tolerances a bound is strictest, ""
// if nothing it rests on has a tolerance or its corner is not known.
func (p Page) Corner(b plan.Bound, part string) string {
	return p.corner(b.Formula, part, b.Kind == quantity.AtMost || b.Kind == quantity.MagnitudeAtMost)
}

// corner names the values at which a formula is lowest or highest.
func (p Page) corner(text, part string, lowest bool) string {
	at := map[string]float64{}
	if v, ok := p.names.Find(p.concrete(text, part)); ok {
		at = v.HighAt
		if lowest {
			at = v.LowAt
		}
	} else if r, ok := p.evaluate(text, part); ok {
		at = r.HiAt
		if lowest {
			at = r.LoAt
		}
	}
	var out []string
	for _, name := range slices.Sorted(maps.Keys(at)) {
		r, err := number(p.car, name)
		if err == nil && !r.Exact() {
			out = append(out, name+" "+show(at[name], r.Dim))
		}
	}
	return strings.Join(out, ", ")
}

// firstWords finds the first words of the dotted names in a formula.
var firstWords = regexp.MustCompile(`(?:^|[^\pL\pN_.])([a-z][a-z0-9_]*)\.`)

// evaluate evaluates a formula, a loop's name in it standing for the part.
func (p Page) evaluate(text, part string) (formula.Result, bool) {
	var env formula.Env = p.names
	collection, item, isItem := strings.Cut(part, ".")
	known := map[string]bool{}
	for _, n := range p.names.Names() {
		head, _, _ := strings.Cut(n, ".")
		known[head] = true
	}
	for _, m := range firstWords.FindAllStringSubmatch(text, -1) {
		if !known[m[1]] && isItem {
			env = formula.Bind(p.names, map[string]formula.Item{m[1]: {Collection: collection, Name: item}})
		}
	}
	f, problems := formula.Compile(text, diag.Place{}, "", env, formula.Want{Any: true})
	if f == nil || problems.Errors() || f.IsBool() {
		return formula.Result{}, false
	}
	r, err := f.Eval()
	return r, err == nil
}

// Leakage says which current flows at a limit of isolation: what the limit
// means for a person (Ohm's law).
func (p Page) Leakage(b plan.Bound) string {
	v, err := p.car.MaxVoltage()
	if err != nil || b.Dim != quantity.Ohm || b.Kind != quantity.AtLeast || b.Low <= 0 {
		return ""
	}
	return fmt.Sprintf("at this limit %s flow through a person between a pole and chassis at %s",
		show(hv.LeakageAt(v.Hi, b.Low), quantity.Ampere), show(v.Hi, quantity.Volt))
}

// bands says who must act at which fault current through a fuse.
func (p Page) bands(part string) []Line {
	fuse, ok := strings.CutPrefix(part, "fuses.")
	if !ok {
		return nil
	}
	protection, ok := p.protection(fuse)
	if !ok {
		return nil
	}
	var out []Line
	for i, b := range protection.Bands() {
		word := ""
		if i == 0 {
			word = "who must act"
		}
		out = append(out, Line{word, fmt.Sprintf("%8s to %-8s %s", show(b.From, quantity.Ampere), show(b.To, quantity.Ampere), b.Who)})
	}
	return out
}

func (p Page) protection(fuse string) (hv.Protection, bool) {
	var out hv.Protection
	for _, v := range []struct {
		name string
		high bool
		to   *float64
	}{
		{"fuses." + fuse + ".rating", false, &out.Rating}, {"fuses." + fuse + ".minimum_breaking", true, &out.FuseMin},
		{"fuses." + fuse + ".breaking_capacity", false, &out.FuseMax}, {"system.short_circuit_current", true, &out.Prospective},
	} {
		r, err := number(p.car, v.name)
		if err != nil {
			return out, false
		}
		*v.to = r.Lo
		if v.high {
			*v.to = r.Hi
		}
	}
	r, ok := p.evaluate("min(contactors.*.breaking_capacity)", "")
	out.Contactor = r.Lo
	return out, ok
}

func show(x float64, d quantity.Dim) string { return quantity.Value{SI: x, Dim: d}.String() }
