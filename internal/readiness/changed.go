package readiness

import (
	"fmt"
	"slices"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// changed compares the plan that a run answered with today's, and gives the
// first thing that today asks for and the run did not answer, or nothing.
// What today no longer asks for is not a reason: that is audit's to remark.
func changed(then, today *plan.Plan) string {
	for i := range today.Steps {
		s := &today.Steps[i]
		if s.NotApplicable != "" {
			continue
		}
		j, ok := then.Step(s.Path)
		if !ok || then.Steps[j].NotApplicable != "" {
			return fmt.Sprintf("step %s is new since the run", s.Path)
		}
		if why := changedStep(&then.Steps[j], s); why != "" {
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
	case then.Method != today.Method:
		return fmt.Sprintf("the method was %q and is now %q", then.Method, today.Method)
	case then.Dim != today.Dim:
		return "reads another quantity now"
	case then.Seconds < today.Seconds:
		return "a longer wait is asked for now"
	}
	for _, b := range today.Bounds {
		if !b.Governs && b.Kind != quantity.Expected {
			continue
		}
		i := slices.IndexFunc(then.Bounds, func(o plan.Bound) bool {
			return o.ID == b.ID && o.Rules == b.Rules && o.Kind == b.Kind
		})
		switch {
		case i < 0:
			return fmt.Sprintf("%s (%s) was not asked for when it was read", b.ID, b.Bound)
		case then.Bounds[i].Bound != b.Bound:
			return fmt.Sprintf("%s was %s when it was read, and is %s now", b.ID, then.Bounds[i].Bound, b.Bound)
		case then.Bounds[i].Rule != b.Rule:
			return fmt.Sprintf("%s is decided by another rule now", b.ID)
		}
	}
	return ""
}
