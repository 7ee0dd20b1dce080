package run

import (
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// An Outlook says, before the reading, what a meter can do for one bound.
type Outlook struct {
	Bound    *plan.Bound
	Decides  bool   // a reading as expected would be decided
	Hopeless bool   // no reading of this meter could pass
	Why      string // one sentence; also where it decides but leaves little room
	Needed   string // what a meter would need to decide

	AcceptFrom, AcceptTo float64 // displayed values that pass, SI; infinite where open
}

// Outlooks gives the outlook for each governing limit of a step; none
// without a function. What a capture can decide shows when it is there, but for
// times that are taken by hand.
func Outlooks(s *plan.Step, f *measure.Function) []Outlook {
	if f == nil || s.Kind == plan.Capture && !f.ByHand {
		return nil
	}
	var out []Outlook
	for i := range s.Bounds {
		b := &s.Bounds[i]
		if b.Kind == quantity.Expected || !b.Governs || b.Dim != f.Dim {
			continue
		}
		var window *quantity.Bound
		for _, w := range s.Windows() {
			if window == nil && w.Feature == b.Feature {
				window = &w.Bound
			}
		}
		c := measure.CanDecide(*f, b.Bound, window, b.Rule)
		o := Outlook{Bound: b, Decides: c.Decides, Hopeless: c.Hopeless, Why: c.Why, Needed: c.Needed,
			AcceptFrom: c.AcceptFrom, AcceptTo: c.AcceptTo}
		if why := unfit(s, b, f); why != "" {
			o.Decides, o.Hopeless, o.Why = false, true, why
		}
		out = append(out, o)
	}
	return out
}
