package readiness

import (
	"fmt"
	"slices"

	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// changed compares the plan that a run answered with today's, in all steps
// that the item rests on, and gives the first thing that makes the answer
// worth nothing: a value of the car that a limit or window used and that is
// another one today, a step that is new, anything stricter. What became
// easier is not a reason: that is audit's to remark.
func (j *judge) changed(then, today *plan.Plan, q piece) string {
	index := j.index(then)
	for _, i := range q.rests {
		s := &today.Steps[i]
		at, ok := index[s.Path]
		if !ok || then.Steps[at].NotApplicable != "" {
			return fmt.Sprintf("step %s is new since the run", s.Path)
		}
		if why := changedStep(&then.Steps[at], s); why != "" {
			return s.Path + ": " + why
		}
	}
	return ""
}

func changedStep(then, today *plan.Step) string {
	switch {
	case then.Kind != today.Kind:
		return fmt.Sprintf("was a step of kind %s and is now %s", then.Kind, today.Kind)
	case then.Expect != today.Expect:
		return fmt.Sprintf("the wanted answer was %q and is now %q", then.Expect, today.Expect)
	case today.Witness && !then.Witness:
		return "was not witnessed, and now must be"
	case then.ConditionalPass && !today.ConditionalPass && today.Kind != plan.Confirm && today.Kind != plan.Observe:
		return "a conditional pass is not accepted any more"
	case then.Method != today.Method:
		return fmt.Sprintf("the method was %q and is now %q", then.Method, today.Method)
	case then.Dim != today.Dim:
		return "reads another quantity now"
	case then.Seconds < today.Seconds:
		return "a longer wait is asked for now"
	case then.Function != today.Function:
		return "is computed in another way now"
	case asksMore(then.TestRange, today.TestRange):
		return "another test voltage or current is asked for now"
	}
	for _, a := range today.From {
		i := slices.IndexFunc(then.From, func(o plan.Arg) bool { return o.Name == a.Name })
		if i < 0 || then.From[i].Step != a.Step || then.From[i].Text != a.Text {
			return a.Name + " comes from elsewhere now"
		}
		if why := changedInputs(then.From[i].Inputs, a.Inputs); why != "" {
			return why
		}
		if then.From[i].Lo != a.Lo || then.From[i].Hi != a.Hi {
			return a.Name + " is another value now"
		}
	}
	for _, b := range today.Bounds {
		if !b.Governs && b.Kind != quantity.Expected {
			continue
		}
		if why := changedBound(then, b); why != "" {
			return why
		}
	}
	return ""
}

func changedBound(then *plan.Step, b plan.Bound) string {
	i := slices.IndexFunc(then.Bounds, func(o plan.Bound) bool {
		return o.ID == b.ID && o.Rules == b.Rules && o.Kind == b.Kind
	})
	if i < 0 {
		return fmt.Sprintf("%s (%s) was not asked for when it was read", b.ID, b.Bound)
	}
	o := then.Bounds[i]
	if why := changedInputs(o.Inputs, b.Inputs); why != "" {
		return why
	}
	switch {
	case stricter(o.Bound, b.Bound):
		return fmt.Sprintf("%s was %s when it was read, and is %s now", b.ID, o.Bound, b.Bound)
	case o.Rule != b.Rule && b.Rule == measure.GuardBand:
		return fmt.Sprintf("%s is decided with a guard band now", b.ID)
	case o.Method != b.Method && b.Method != "", asksMore(o.TestRange, b.TestRange):
		return fmt.Sprintf("%s asks for another method or test value now", b.ID)
	case !o.Governs && b.Governs && b.Kind != quantity.Expected:
		return fmt.Sprintf("%s was not judged by when it was read", b.ID)
	}
	return ""
}

// changedInputs names the first value of the car that differs.
func changedInputs(then, today []plan.Input) string {
	for _, in := range today {
		i := slices.IndexFunc(then, func(o plan.Input) bool { return o.Name == in.Name })
		if i >= 0 && (then[i].Lo != in.Lo || then[i].Hi != in.Hi) {
			return fmt.Sprintf("%s was %s when it was tested, and is %s now", in.Name, spread(then[i]), spread(in))
		}
	}
	return ""
}

func spread(in plan.Input) string {
	return quantity.Range{Lo: in.Lo, Nominal: (in.Lo + in.Hi) / 2, Hi: in.Hi, Dim: in.Dim}.String()
}

// stricter reports whether some value that one bound takes, the other does
// not. The kinds are the same.
func stricter(then, today quantity.Bound) bool {
	switch today.Kind {
	case quantity.AtLeast:
		return today.Low > then.Low
	case quantity.AtMost, quantity.MagnitudeAtMost:
		return today.High < then.High
	}
	return today.Low > then.Low || today.High < then.High
}

func asksMore(then, today plan.TestRange) bool {
	return today.MinTestVoltage > then.MinTestVoltage || today.MinTestCurrent > then.MinTestCurrent ||
		today.MaxTestCurrent > 0 && (then.MaxTestCurrent == 0 || today.MaxTestCurrent < then.MaxTestCurrent)
}

// inputs gives the values of the car that a step's judgement rests on.
func inputs(s *plan.Step) []plan.Input {
	var out []plan.Input
	for _, b := range s.Bounds {
		if b.Governs || b.Kind == quantity.Expected {
			out = append(out, b.Inputs...)
		}
	}
	for _, a := range s.From {
		out = append(out, a.Inputs...)
	}
	return out
}

// A timeline is what the plans of the log say about the car's values, in the
// order of their runs: a value that was changed and changed back is there,
// if a run was begun in between.
type timeline struct {
	last    map[string]plan.Input
	changes map[string][]change
}

type change struct {
	at  int64 // place of the run in the order
	run string
	plan.Input
}

func newTimeline(l Log) *timeline {
	t := &timeline{last: map[string]plan.Input{}, changes: map[string][]change{}}
	known := map[*plan.Plan][]plan.Input{}
	var before *plan.Plan
	settled := map[*plan.Plan]int{} // number of changes when the plan was last looked at
	count := 0
	for _, m := range l.Runs.Runs() {
		p := m.Plan()
		if m.Start().Rehearsal || p == before {
			continue
		}
		if n, seen := settled[p]; seen && n == count {
			continue
		}
		before = p
		if known[p] == nil {
			for i := range p.Steps {
				known[p] = append(known[p], inputs(&p.Steps[i])...)
			}
		}
		for _, in := range known[p] {
			if old, ok := t.last[in.Name]; !ok || old.Lo != in.Lo || old.Hi != in.Hi {
				t.last[in.Name] = in
				t.changes[in.Name] = append(t.changes[in.Name], change{l.Record.began[m.ID()], m.ID(), in})
				if ok {
					count++
				}
			}
		}
		settled[p] = count
	}
	return t
}

// changedSince names a value that a later run recorded as another one than
// the run at hand used.
func (t *timeline) changedSince(j *judge, m *run.Machine, q piece, today *plan.Plan) string {
	index, then, began := j.index(m.Plan()), m.Plan(), j.log.Record.began[m.ID()]
	for _, i := range q.rests {
		at, ok := index[today.Steps[i].Path]
		if !ok {
			continue
		}
		for _, in := range inputs(&then.Steps[at]) {
			for _, c := range t.changes[in.Name] {
				if c.at > began && (c.Lo != in.Lo || c.Hi != in.Hi) {
					return fmt.Sprintf("%s was %s when it was tested, and %s in run %s", in.Name, spread(in), spread(c.Input), c.run)
				}
			}
		}
	}
	return ""
}
