package report

import (
	"fmt"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// limitFacts says what a step's value was judged by: each governing limit
// and window with formula, numbers and source, then the limits that others
// are stricter than.
func limitFacts(s *plan.Step) Facts {
	var f Facts
	for i := range s.Bounds {
		b := &s.Bounds[i]
		switch {
		case b.Kind == quantity.Expected:
			f.add("Expected", window(b), worked(b))
		case b.Governs:
			f.add("Limit", limit(b), worked(b), asks(b), b.Source)
		}
	}
	for i := range s.Bounds {
		if b := &s.Bounds[i]; b.Kind != quantity.Expected && !b.Governs {
			f.add("Also asked", limit(b)+": met where the limit above is", b.Source)
		}
	}
	return f
}

func window(b *plan.Bound) string {
	return of(b) + strings.TrimPrefix(b.Bound.String(), "expected ") + ", by this car's data over all tolerances"
}

// limit names the bound and where it stands.
func limit(b *plan.Bound) string {
	if b.Rules == "" {
		return of(b) + b.Bound.String() + " (the procedure's own)"
	}
	return fmt.Sprintf("%s%s (%s of rule set %s)", of(b), b.Bound, b.ID, b.Rules)
}

// of names the number of a waveform that a bound is for.
func of(b *plan.Bound) string {
	if b.Feature == "" {
		return ""
	}
	return b.Feature + " "
}

// worked gives the formula with the numbers put in.
func worked(b *plan.Bound) string {
	return formula(b.Formula, b.Substituted, b.Exactness, b.Inputs)
}

func formula(text, substituted, exactness string, inputs []plan.Input) string {
	out := "= " + text
	if substituted != "" && !strings.HasPrefix(substituted, text) {
		out += " = " + substituted
	} else if substituted != "" {
		out = "= " + substituted
	}
	var ranges []string
	for _, in := range inputs {
		if in.Lo != in.Hi && !strings.Contains(substituted, "…") {
			ranges = append(ranges, in.Name+" "+span(in.Lo, in.Hi, in.Dim))
		}
	}
	if len(ranges) > 0 {
		out += ", with " + strings.Join(ranges, ", ")
	}
	if exactness == "outer" {
		out += " (bounded from outside: at least as strict as the exact value)"
	}
	return out
}

// asks says which method and stimulus the limit asks for.
func asks(b *plan.Bound) string {
	var words []string
	if b.Method != "" {
		words = append(words, "by the "+b.Method+" method")
	}
	if b.Stimulus != "" {
		words = append(words, "test "+b.Stimulus)
	}
	if len(words) == 0 {
		return ""
	}
	return "asked for " + strings.Join(words, ", ")
}

// A judgement is the verdict on one bound as an entry recorded it.
type judgement struct {
	bound    *plan.Bound // nil where the order of the plan does not show which one it is
	recorded string
	verdict  string
}

// judged gives the verdicts that an entry recorded, in its order.
func judged(s *plan.Step, b entry.Body) []judgement {
	var bounds []*plan.Bound
	for i := range s.Bounds {
		if p := &s.Bounds[i]; p.Kind == quantity.Expected || p.Governs {
			bounds = append(bounds, p)
		}
	}
	var out []judgement
	for i, r := range b.Family("result") {
		name, verdict, ok := strings.Cut(r, ": ")
		j := judgement{nil, r, verdict}
		if ok && i < len(bounds) && name == bounds[i].Kind.String()+" "+bounds[i].ID {
			j.bound = bounds[i]
		}
		out = append(out, j)
	}
	return out
}

// results gives the verdict on each bound as the entry recorded it, with the
// bound in words where that is known.
func results(s *plan.Step, b entry.Body) []string {
	all := judged(s, b)
	if len(all) < 2 {
		return nil // the step's decision is all there is to say
	}
	var out []string
	for _, j := range all {
		if j.bound != nil {
			j.recorded = of(j.bound) + j.bound.Bound.String() + ": " + j.verdict
		}
		out = append(out, j.recorded)
	}
	return out
}

// rule words a decision rule as an entry names it.
func rule(name string) string {
	r, ok := measure.ParseRule(name)
	switch {
	case !ok:
		return name
	case r == measure.SimpleAcceptance:
		return "by simple acceptance"
	}
	return "by guard band"
}
