package rules

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// A Book is the rule sets that one car is assessed to.
type Book struct {
	car    *vehicle.Vehicle
	chosen []*Set          // in the order of assessed_to
	others []*Set          // known, and not chosen
	byID   map[string][]at // limits of the chosen sets by id
	ids    []string        // in the order of sets and files
	all    []Listed
}

// at is a limit with the set that it stands in.
type at struct {
	set   *Set
	limit Limit
}

// NewBook chooses from the sets those that the car is assessed to, and
// checks their formulas against the car. What the car's file merely lacks is
// no fault here; All and Look say what is missing.
func NewBook(sets []*Set, car *vehicle.Vehicle) (*Book, diag.List) {
	var problems diag.List
	b := &Book{car: car, byID: map[string][]at{}}
	known := map[string]*Set{}
	var ids []string
	for _, s := range sets {
		if first, ok := known[s.ID]; ok {
			problems.Errorf(s.at, fmt.Sprintf("the other is at %s", first.at), "two rule sets are called %q", s.ID)
			continue
		}
		known[s.ID] = s
		ids = append(ids, s.ID)
	}
	for i, id := range car.AssessedTo() {
		s, ok := known[id.Text]
		switch {
		case !ok:
			hint := diag.DidYouMean(id.Text, ids)
			switch {
			case hint != "":
			case len(ids) > 0:
				hint = "rule sets here: " + strings.Join(ids, ", ")
			default:
				hint = "no file in rules/ could be read as one; init writes them"
			}
			problems.Errorf(id.At, hint, "the car is assessed to %q, and there is no such rule set", id.Text)
		case slices.ContainsFunc(car.AssessedTo()[:i], func(o yamlfile.Scalar) bool { return o.Text == id.Text }):
			problems.Errorf(id.At, "write it once", "the car is assessed to %q twice", id.Text)
		default:
			b.chosen = append(b.chosen, s)
		}
	}
	for _, s := range sets {
		if known[s.ID] == s && !slices.Contains(b.chosen, s) {
			b.others = append(b.others, s)
		}
	}
	for _, s := range b.chosen {
		for _, l := range s.Limits {
			if b.byID[l.ID] == nil {
				b.ids = append(b.ids, l.ID)
			}
			b.byID[l.ID] = append(b.byID[l.ID], at{s, l})
		}
	}
	problems.Append(b.listAll())
	problems.Sort()
	return b, problems
}

// Sets gives the rule sets that the car is assessed to.
func (b *Book) Sets() []*Set { return slices.Clone(b.chosen) }

// IDs gives the ids of all limits of the chosen sets, each once.
func (b *Book) IDs() []string { return slices.Clone(b.ids) }

// Has reports whether a chosen rule set has a limit of that id.
func (b *Book) Has(id string) bool { return len(b.byID[id]) > 0 }

// Known reports whether any rule set has it, chosen or not.
func (b *Book) Known(id string) bool {
	return b.Has(id) || len(b.elsewhere(id)) > 0
}

// elsewhere gives the sets that have a limit and are not chosen.
func (b *Book) elsewhere(id string) []string {
	var out []string
	for _, s := range b.others {
		if slices.ContainsFunc(s.Limits, func(l Limit) bool { return l.ID == id }) {
			out = append(out, s.ID)
		}
	}
	return out
}

// Apply gives the bounds of a limit for a step: env offers the car's values,
// with the step's loop variables; dim is the dimension of the reading;
// method is how the step measures, or "". All limits of the chosen sets that
// apply to the car are in it, those that govern marked. No bounds and no
// fault means that the limit does not concern this car. A limit that has no
// value because the car's file does not give one is a fault; Look tells
// these faults from others. A problem about the id itself has no place.
func (b *Book) Apply(id string, env formula.Env, dim quantity.Dim, method string) ([]plan.Bound, diag.List) {
	l := b.Look(id, env, dim, method)
	l.Problems.Append(l.Missing)
	return l.Bounds, l.Problems
}

// Look is Apply with what is missing in a list of its own.
func (b *Book) Look(id string, env formula.Env, dim quantity.Dim, method string) Limited {
	var out Limited
	if !b.Has(id) {
		hint := diag.DidYouMean(id, b.ids)
		if sets := b.elsewhere(id); len(sets) > 0 {
			hint = fmt.Sprintf("the car is not assessed to %s, which has it", strings.Join(sets, ", "))
		}
		out.Problems.Errorf(diag.Place{}, hint, "no rule set that the car is assessed to has a limit %q", id)
		return out
	}
	for _, l := range b.byID[id] {
		if l.limit.Method != "" && method != "" && l.limit.Method != method {
			out.Problems.Add(l.set.file.At(l.limit.key(), fmt.Sprintf("give limit %s to a step with method: %s", id, l.limit.Method),
				"%s wants %s by the method %s; a reading by %s does not count", l.set.ID, id, l.limit.Method, method))
			continue
		}
		one := l.bound(env, formula.Want{Dim: dim})
		out.Bounds = append(out.Bounds, one.Bounds...)
		out.Missing.Append(one.Missing)
		out.Problems.Append(one.Problems)
	}
	govern(out.Bounds)
	return out
}

// bound puts the car's values into one limit.
func (l at) bound(env formula.Env, want formula.Want) Limited {
	f := l.set.file
	if l.limit.AppliesIf.Text != "" {
		r, missing, problems := evaluate(f, l.limit.AppliesIf, env, formula.Want{Bool: true})
		if r == nil {
			return Limited{Missing: named(l, missing), Problems: problems}
		}
		// A condition that the tolerances leave open counts as met.
		if r.Bool != nil && !*r.Bool {
			return Limited{}
		}
	}
	out := Inline(f, l.limit.Kind, l.limit.Exprs, env, want)
	out.Missing = named(l, out.Missing)
	if len(out.Bounds) == 0 {
		return out
	}
	bound := &out.Bounds[0]
	bound.ID, bound.Rules, bound.Rule = l.limit.ID, l.set.ID, l.set.Rule
	bound.Source, bound.Method = l.source(), l.limit.Method
	bound.TestRange, bound.Stimulus = l.stimulus(env, &out)
	if len(out.Missing) > 0 || out.Problems.Errors() {
		out.Bounds = nil
	}
	return out
}

// named says of what is missing which limit it is missing for.
func named(l at, missing diag.List) diag.List {
	for i := range missing {
		missing[i].Message = fmt.Sprintf("limit %s of %s has no value: %s", l.limit.ID, l.set.ID, missing[i].Message)
	}
	return missing
}

// source is the clause with the edition, and a warning where nobody checked.
func (l at) source() string {
	s := fmt.Sprintf("%s (edition: %s)", l.limit.Source, l.set.Edition)
	if l.limit.Status == Memory {
		s += ", from memory, unverified"
	}
	return s
}

// stimulus gives the test voltage and current that a limit asks for: the
// strictest corners in SI, and words.
func (l at) stimulus(env formula.Env, out *Limited) (plan.TestRange, string) {
	var r plan.TestRange
	var words []string
	for _, s := range []struct {
		expr yamlfile.Scalar
		dim  quantity.Dim
		kind quantity.BoundKind
		to   *float64
	}{
		{l.limit.TestVoltageAtLeast, quantity.Volt, quantity.AtLeast, &r.MinTestVoltage},
		{l.limit.TestCurrentAtLeast, quantity.Ampere, quantity.AtLeast, &r.MinTestCurrent},
		{l.limit.TestCurrentAtMost, quantity.Ampere, quantity.AtMost, &r.MaxTestCurrent},
	} {
		if s.expr.Text == "" {
			continue
		}
		one := Inline(l.set.file, s.kind, []yamlfile.Scalar{s.expr}, env, formula.Want{Dim: s.dim})
		out.Missing.Append(named(l, one.Missing))
		out.Problems.Append(one.Problems)
		if len(one.Bounds) == 0 {
			continue
		}
		b := one.Bounds[0].Bound
		*s.to = max(b.Low, b.High)
		if *s.to <= 0 {
			out.Problems.Add(l.set.file.At(s.expr, "write one above zero", "%s is no test voltage or current", show(*s.to, s.dim)))
		}
		words = append(words, b.String())
	}
	if l.limit.Stimulus != "" {
		return r, l.limit.Stimulus
	}
	return r, strings.Join(words, ", ")
}
