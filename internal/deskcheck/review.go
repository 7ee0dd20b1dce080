package deskcheck

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// Proof is what a procedure of desk checks proves.
const Proof = "design_review"

// A Check is one desk check of a plan, decided.
type Check struct {
	Step    *plan.Step
	Value   *plan.Arg    // nil where a value is missing
	Refused []plan.Bound // the limits that it does not keep over all tolerances
	Missing string       // which value of the car it lacks, or ""
}

// Review decides every desk check of a plan, in its order: the compute steps
// whose value follows from the car's file alone. A value keeps a limit if it
// does over its whole range, as the run will decide it.
func Review(p *plan.Plan) []Check {
	var out []Check
	for i := range p.Steps {
		s := &p.Steps[i]
		if s.LacksValue() {
			out = append(out, Check{Step: s, Missing: s.NotApplicable})
			continue
		}
		v := valueOf(s)
		if s.NotApplicable != "" || v == nil {
			continue
		}
		c := Check{Step: s, Value: v}
		for _, b := range s.Limits() {
			if !b.Contains(v.Lo) || !b.Contains(v.Hi) {
				c.Refused = append(c.Refused, b)
			}
		}
		out = append(out, c)
	}
	return out
}

// valueOf gives the value of a step that rests on the car's file alone.
func valueOf(s *plan.Step) *plan.Arg {
	if s.Kind != plan.Compute || s.Function != "value" {
		return nil
	}
	for i := range s.From {
		if s.From[i].IsValue() {
			return &s.From[i]
		}
	}
	return nil
}

// Worst gives the end of the value that a bound is decided by, as it is
// printed: to four digits, the nearest.
func (c Check) Worst(b quantity.Bound) string {
	x := c.Value.Hi
	switch {
	case b.Kind == quantity.AtLeast, b.Kind == quantity.Between && c.Value.Lo < b.Low:
		x = c.Value.Lo
	case b.Kind == quantity.MagnitudeAtMost && -c.Value.Lo > c.Value.Hi:
		x = c.Value.Lo
	}
	return quantity.Value{SI: x, Dim: c.Value.Dim}.String()
}

// Sentence words a refusal with its numbers.
func (c Check) Sentence(b plan.Bound) string {
	return fmt.Sprintf("%s: %s, %s is asked for (%s)", strings.TrimSuffix(lower(c.Step.Text), "."), c.Worst(b.Bound), b.Bound, c.Step.Path)
}

// lower begins a sentence in small letters, unless its first word is none of
// the language's, such as "E24".
func lower(s string) string {
	if len(s) > 1 && s[1] >= 'a' && s[1] <= 'z' {
		return strings.ToLower(s[:1]) + s[1:]
	}
	return s
}

// Problems gives the refusals of the checks, each at the place of the value
// that it rests on most directly and with the place of the limit's, and one
// warning for each missing value with the checks that lack it.
func Problems(checks []Check, car *vehicle.Vehicle) diag.List {
	var out diag.List
	page := NewPage(car)
	for _, c := range checks {
		for _, b := range c.Refused {
			p := diag.Problem{Severity: diag.Refusal, Message: c.Sentence(b), Hint: page.hint(c, b)}
			p.Place.File = "vehicle.yaml"
			if at, source, span, ok := place(c.Value.Inputs, car); ok {
				p.Place, p.Source, p.Span = at, source, span
			}
			out.Add(p)
		}
	}
	missing, lacking := []string{}, map[string][]string{}
	for _, c := range checks {
		if c.Missing != "" {
			if lacking[c.Missing] == nil {
				missing = append(missing, c.Missing)
			}
			lacking[c.Missing] = append(lacking[c.Missing], c.Step.Path)
		}
	}
	for _, m := range missing {
		out.Warnf(diag.Place{File: "vehicle.yaml"}, "", "not checked at the desk: %s: %s", strings.Join(lacking[m], ", "), m)
	}
	return out
}

// hint says what the limit rests on, where it stands, and what happens if the
// refusal is passed over.
func (p Page) hint(c Check, b plan.Bound) string {
	value := c.Value.Formula
	if lines := p.expression(value, c.Value.Substituted, first(append(slices.Clone(c.Step.Parts), "")...)); len(lines) > 0 {
		value += " " + strings.Join(lines, " ")
	}
	parts := []string{value}
	limit := "limit " + b.Formula
	if b.Rules != "" {
		limit = fmt.Sprintf("limit %s of %s: %s", b.ID, b.Rules, b.Formula)
	}
	if at, _, _, ok := place(b.Inputs, p.car); ok {
		limit += fmt.Sprintf(" (%s)", at)
	}
	parts = append(parts, limit)
	if c.Step.Purpose != "" {
		parts = append(parts, c.Step.Purpose)
	}
	return strings.Join(parts, "; ")
}

// place gives where the first of some inputs stands that the car's file gives,
// with the source line and the length of what is written there.
func place(inputs []plan.Input, car *vehicle.Vehicle) (at diag.Place, source string, span int, ok bool) {
	for _, in := range inputs {
		if s, stated := car.Place(in.Name); stated {
			return s.At, s.Source, len([]rune(s.Text)), true
		}
	}
	return diag.Place{}, "", 0, false
}
