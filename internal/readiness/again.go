package readiness

import (
	"fmt"
	"slices"

	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// Rules gives the bounds that another rule set has for a limit of a step, or
// why it has none: "" with no bounds where the rule set does not know the
// limit. The step is named by its procedure and path, since a limit may ask
// for the item of a loop around it.
type Rules func(procedure, path string, b plan.Bound) (bounds []plan.Bound, why string)

// An Again is one answer of a run judged by another rule set.
type Again struct {
	Run, Path string
	Said      string
	Before    string
	After     string       // as Before where the rule set says nothing about it
	Why       string       // where After is not by the number alone
	Bounds    []plan.Bound // of the other rule set
	Silent    []string     // limits of the step that the rule set does not have
}

// Anew reports whether the reading must be taken anew: it was taken by a
// method, or with a test voltage or current, that the rule set does not
// accept, or cannot be decided with that meter.
func (a Again) Anew() bool { return a.After == run.CannotDecide }

// JudgeAgain gives the last reading of every step of a run that has limits
// out of rule sets, judged by another one. Windows and limits written in the
// step itself stay as they were. Nothing in the log changes.
func JudgeAgain(m *run.Machine, rules Rules) []Again {
	var out []Again
	for _, s := range m.Steps() {
		if a, ok := judgeAgain(m, s, rules); ok {
			out = append(out, a)
		}
	}
	return out
}

func judgeAgain(m *run.Machine, s run.StepResult, rules Rules) (Again, bool) {
	a := s.Last()
	if a == nil || s.Decision == run.NotApplicable || !slices.ContainsFunc(s.Step.Bounds, func(b plan.Bound) bool { return b.Rules != "" }) {
		return Again{}, false
	}
	out := Again{Run: m.ID(), Path: s.Step.Path, Said: a.Said(s.Step), Before: s.Decision, After: s.Decision}
	step := *s.Step
	step.Bounds = nil
	for _, b := range s.Step.Bounds {
		if b.Rules == "" {
			step.Bounds = append(step.Bounds, b)
			continue
		}
		if slices.ContainsFunc(out.Bounds, func(o plan.Bound) bool { return o.ID == b.ID }) || slices.Contains(out.Silent, b.ID) {
			continue
		}
		bounds, why := rules(m.Plan().Procedure, s.Step.Path, b)
		switch {
		case why != "":
			out.After, out.Why = run.CannotDecide, why
			return out, true
		case len(bounds) == 0:
			out.Silent = append(out.Silent, b.ID)
		}
		for i := range bounds {
			bounds[i].Feature = b.Feature
		}
		out.Bounds = append(out.Bounds, bounds...)
	}
	step.Bounds = append(step.Bounds, out.Bounds...)
	if len(out.Bounds) == 0 {
		return out, true
	}
	start := m.Start()
	_, f := start.Meter(s.Step)
	j, ok := run.JudgeAgain(&step, a, f)
	if !ok {
		out.After, out.Why = run.CannotDecide, "there is no number"
		return out, true
	}
	out.After = j.Decision
	if len(j.Findings) > 0 {
		out.Why = j.Findings[0]
	}
	return out, true
}

// Under gives the proofs as another rule set would have them: each item's
// readings judged again. A proof that does not hold now does not hold then.
func Under(l Log, proofs []Proof, rules Rules) []Proof {
	out := slices.Clone(proofs)
	for i := range out {
		p := &out[i]
		if p.State != Holds {
			continue
		}
		p.Items = slices.Clone(p.Items)
		for k := range p.Items {
			item := &p.Items[k]
			m := l.Runs.Run(item.Run)
			if m == nil {
				continue
			}
			for _, s := range m.Steps() {
				if s.Step.Item() != item.Item {
					continue
				}
				a, ok := judgeAgain(m, s, rules)
				if !ok || a.After == run.Pass || a.After == run.Done || a.After == run.ConditionalPass && s.Step.ConditionalPass {
					continue
				}
				item.State = Failed
				if a.Anew() {
					item.State = Void
				}
				item.Reason = fmt.Sprintf("%s: %s", a.Path, a.After)
				if a.Why != "" {
					item.Reason += ", " + a.Why
				}
			}
			if slices.Index(weight, item.State) > slices.Index(weight, p.State) {
				p.State, p.Reason = item.State, item.Reason
			}
		}
	}
	return out
}

// A Pair is one step in two runs.
type Pair struct {
	Path         string
	A, B         string // what was said; empty where the run does not have it
	DecidedA     string
	DecidedB     string
	Change       float64 // B − A, SI, where both have a value
	U            float64 // of the change
	Dim          quantity.Dim
	HasChange    bool
	Beyond       bool // the change is beyond what the meters leave open
	OnlyA, OnlyB bool
}

// Compare sets two runs side by side, step by step, in the order of the first.
func Compare(a, b *run.Machine) []Pair {
	var out []Pair
	other := map[string]run.StepResult{}
	for _, s := range b.Steps() {
		other[s.Step.Path] = s
	}
	seen := map[string]bool{}
	for _, s := range a.Steps() {
		seen[s.Step.Path] = true
		o, ok := other[s.Step.Path]
		p := Pair{Path: s.Step.Path, DecidedA: s.Decision, DecidedB: o.Decision, OnlyA: !ok, Dim: s.Step.Dim}
		x, y := s.Last(), (*run.Attempt)(nil)
		if ok {
			y = o.Last()
		}
		if x != nil {
			p.A = x.Said(s.Step)
		}
		if y != nil {
			p.B = y.Said(o.Step)
		}
		if x != nil && y != nil && x.HasValue && y.HasValue && o.Step.Dim == s.Step.Dim && x.Body.Text("bound")+y.Body.Text("bound") == "" {
			p.Change, p.U, p.HasChange = y.Value-x.Value, measure.Combine(x.U, y.U), true
			p.Beyond = p.Change > p.U || -p.Change > p.U
		}
		out = append(out, p)
	}
	for _, s := range b.Steps() {
		if !seen[s.Step.Path] {
			p := Pair{Path: s.Step.Path, DecidedB: s.Decision, OnlyB: true, Dim: s.Step.Dim}
			if y := s.Last(); y != nil {
				p.B = y.Said(s.Step)
			}
			out = append(out, p)
		}
	}
	return out
}
