package rules

import (
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// like is what two limits must have in common for one to be stricter than
// the other. The decision rule belongs to it: which of 0.12 Ω with a guard
// band and 0.11 Ω without is stricter depends on the meter.
type like struct {
	kind             quantity.BoundKind
	dim              quantity.Dim
	method, stimulus string
	test             plan.TestRange
	rule             measure.Rule
}

// likeOf compares stimuli by their numbers where they have any, else by their
// words.
func likeOf(b plan.Bound) like {
	l := like{b.Kind, b.Dim, b.Method, b.Stimulus, b.TestRange, b.Rule}
	if l.test != (plan.TestRange{}) {
		l.stimulus = ""
	}
	return l
}

// govern marks, of the bounds of one limit id, those that a reading is judged
// by: all but those for which a like bound is at least as strict. Of equal
// ones the first governs. Windows stand beside each other.
func govern(bounds []plan.Bound) {
	for i := range bounds {
		bounds[i].Governs = true
		for j := range bounds {
			if i == j || likeOf(bounds[i]) != likeOf(bounds[j]) || !within(bounds[j].Bound, bounds[i].Bound) {
				continue
			}
			if j < i || !within(bounds[i].Bound, bounds[j].Bound) {
				bounds[i].Governs = false
			}
		}
	}
}

// within reports whether whatever meets a limit a also meets b, of the same
// kind.
func within(a, b quantity.Bound) bool {
	switch a.Kind {
	case quantity.AtLeast:
		return a.Low >= b.Low
	case quantity.AtMost, quantity.MagnitudeAtMost:
		return a.High <= b.High
	case quantity.Between:
		return a.Low >= b.Low && a.High <= b.High
	}
	return false
}
