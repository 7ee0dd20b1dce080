package procedure

import (
	"math"
	"slices"

	"hvproof/internal/formula"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/rules"
	"hvproof/internal/yamlfile"
)

// inline is a bound that is written in the step itself.
type inline struct {
	kind quantity.BoundKind
	node *yamlfile.Node
}

// inlines gives the bounds that are written in the step.
func (s *step) inlines() []inline {
	all := []inline{
		{quantity.AtLeast, s.AtLeast}, {quantity.AtMost, s.AtMost}, {quantity.Between, s.Between},
		{quantity.MagnitudeAtMost, s.MagnitudeMost}, {quantity.Expected, s.Expected},
	}
	return slices.DeleteFunc(all, func(b inline) bool { return b.node == nil })
}

// bounds attaches the step's limits and windows.
func (w *walk) bounds(s *step, sc scope, p *plan.Step) {
	want := formula.Want{Dim: p.Dim}
	ids, _ := scalars(s.Limit) // checked by Parse
	for _, id := range ids {
		w.limit(id, sc, p)
	}
	for _, b := range s.inlines() {
		exprs, problems := rules.Formulas(sc.file, b.kind, b.node)
		if len(problems) > 0 {
			continue // reported by Parse
		}
		got := rules.Inline(sc.file, b.kind, exprs, sc.env, want)
		w.faults.addAll(got.Problems, nothing)
		w.faults.addAll(got.Missing, aValue)
		for _, bound := range got.Bounds {
			bound.ID, bound.Rule, bound.Governs = p.Path, measure.GuardBand, true
			bound.Source, bound.Method = p.Source, p.Method
			p.Bounds = append(p.Bounds, w.settled(bound))
		}
	}
	w.method(p)
	w.agree(s, sc, p)
}

// limit attaches a limit of the rule sets.
func (w *walk) limit(id yamlfile.Scalar, sc scope, p *plan.Step) {
	if !w.book.Has(id.Text) {
		if w.faulty.Rules {
			return
		}
		const message = "no rule set that the car is assessed to has a limit %q"
		if w.book.Known(id.Text) {
			w.lack(sc, id, "add to assessed_to in vehicle.yaml a rule set that has it", message, id.Text)
		} else {
			w.errorf(sc, id, nearest(id.Text, w.book.IDs()), message, id.Text)
		}
		return
	}
	got := w.book.Look(id.Text, sc.env, p.Dim, p.Method)
	for _, bad := range got.Problems {
		w.errorf(sc, id, "see "+bad.Place.String(), "the limit %s does not fit this step: %s", id.Text, bad.Message)
	}
	for _, m := range got.Missing {
		w.faults.add(sc.file.At(id, m.Hint, "%s", m.Message), aValue)
	}
	for _, b := range got.Bounds {
		p.Bounds = append(p.Bounds, w.settled(b))
	}
	if len(got.Bounds) == 0 && len(got.Problems) == 0 && len(got.Missing) == 0 {
		w.errorf(sc, id, "give the step applies_if, or leave the limit out",
			"the limit %s does not apply to this car, so that the step would not be judged by it", id.Text)
	}
}

// settled gives a bound with everything that it rests on.
func (w *walk) settled(b plan.Bound) plan.Bound {
	b = clean(b)
	b.Inputs = w.env.Underlying(b.Inputs)
	return b
}

// clean takes the sign off zeros: a plan has no −0.
func clean(b plan.Bound) plan.Bound {
	b.Low, b.High = b.Low+0, b.High+0
	b.Inputs = slices.Clone(b.Inputs)
	for i := range b.Inputs {
		b.Inputs[i].Lo, b.Inputs[i].Hi = b.Inputs[i].Lo+0, b.Inputs[i].Hi+0
	}
	return b
}

// method takes the method from the limits if the step does not say one.
func (w *walk) method(p *plan.Step) {
	if p.Method != "" {
		return
	}
	for _, b := range p.Limits() {
		if b.Method == "" {
			continue
		}
		if p.Method != "" && p.Method != b.Method {
			p.Method = ""
			return
		}
		p.Method = b.Method
	}
}

// agree checks the limits of a step against each other: there must be a
// reading that meets them all and looks like this car.
func (w *walk) agree(s *step, sc scope, p *plan.Step) {
	low, high := math.Inf(-1), math.Inf(1)
	for _, b := range p.Limits() {
		switch b.Kind {
		case quantity.AtLeast:
			low = max(low, b.Low)
		case quantity.AtMost:
			high = min(high, b.High)
		case quantity.MagnitudeAtMost:
			low, high = max(low, -b.High), min(high, b.High)
		case quantity.Between:
			low, high = max(low, b.Low), min(high, b.High)
		}
		if b.Method != "" && p.Method == "" {
			w.errorf(sc, s.ID, "add method: and how it is measured", "the limits are for different methods, and the step does not say which is used")
			return
		}
	}
	show := func(x float64) string { return quantity.Value{SI: x, Dim: p.Dim}.String() }
	if low > high {
		w.errorf(sc, s.ID, "see hvproof limits", "no reading can meet the limits: at least %s and at most %s", show(low), show(high))
		return
	}
	for _, b := range p.Windows() {
		if b.High < low || b.Low > high {
			w.warnf(sc, s.ID, "see hvproof limits", "what is expected, %s to %s, does not meet the limit", show(b.Low), show(b.High))
		}
	}
}
