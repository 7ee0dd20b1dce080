package readiness

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"hvproof/internal/hv"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/rework"
	"hvproof/internal/run"
)

// The codes of a Leak.
const (
	UnexplainedLeakage = "unexplained-leakage"
	PartNotMeasured    = "part-not-measured"
)

// A Leak is what the isolation of the whole says that its parts do not.
type Leak struct {
	Code     string
	Sentence string
	Run      string // of the whole
}

// String gives the leak as a finding.
func (l Leak) String() string { return l.Code + ": " + l.Sentence }

// A span is a range of a resistance to chassis, Ω; Hi may be infinite.
type span struct{ lo, hi float64 }

func (s span) String() string {
	if math.IsInf(s.hi, 1) {
		return "above " + ohms(s.lo)
	}
	return ohms(s.lo) + " to " + ohms(s.hi)
}

func ohms(x float64) string { return quantity.Value{SI: x, Dim: quantity.Ohm}.String() }

// Whole is the isolation of the whole car held against what its parts let one
// expect, all by the newest readings.
type Whole struct {
	Run         string
	Pole        string // the weaker one
	Measured    span
	Predicted   span              // of that pole, for any split of the joined parts
	Parts       map[string]string // part: run of its reading
	NotOf       []string          // of the expected, those that nobody has measured
	Beside      []string          // other parts that an isolation reading is of, such as the HV side as one
	Unseen      span              // the path that the parts do not explain
	Unexplained bool
}

// WholeFromParts predicts the whole from the latest readings of its parts:
// packs by the two-voltage method, pole by pole, the others with their poles
// joined and their split unknown. The meters' uncertainty is in it, taken to
// the ends. expected are the parts whose isolation is to be measured; false
// where the whole or every part was not measured yet. Readings of anything else,
// such as of all of them plugged together, would count a part twice.
//
// Two methods measure two things; nothing is compared across them.
func WholeFromParts(l Log, expected []string) (*Whole, bool) {
	return wholeFromParts(l, expected, nil, nil)
}

// WholeAt is WholeFromParts where a step of a run is just about to compute the
// isolation of the whole; false for any other step.
func WholeAt(l Log, m *run.Machine, s *plan.Step, expected []string) (*Whole, bool) {
	if s.Function != "isolation_two_voltage" || len(s.Parts) != 1 || s.Parts[0] != rework.Whole || m.Start().Rehearsal {
		return nil, false
	}
	return wholeFromParts(l, expected, m, s)
}

// leaking reports whether a finding is one of those that only a cause, or extra
// checks, and a new reading can settle.
func leaking(finding string) bool {
	return strings.HasPrefix(finding, UnexplainedLeakage+":") || strings.HasPrefix(finding, PartNotMeasured+":")
}

// wholeFromParts is WholeFromParts; where a run is given, the whole is as its
// step is about to compute it.
func wholeFromParts(l Log, expected []string, now *run.Machine, step *plan.Step) (*Whole, bool) {
	var w *Whole
	type pack struct{ plus, minus span }
	packs, joined, at, beside := map[string]pack{}, map[string]span{}, map[string]string{}, map[string]bool{}
	measures := map[*plan.Plan]bool{}
	for _, m := range l.Runs.Runs() {
		if m.Start().Rehearsal || m.Broken() != nil || !isolates(measures, m.Plan()) {
			continue
		}
		for s := range m.Answered() {
			a := s.Last()
			if !a.HasValue || len(s.Step.Parts) != 1 || s.Step.LeadCheck != "" {
				continue
			}
			part := s.Step.Parts[0]
			if r, ok := m.Isolation(s.Step); ok {
				weak, other := spanOf(r.Weaker), spanOf(r.Other)
				if part == rework.Whole {
					w = &Whole{Run: m.ID(), Pole: r.Pole, Measured: weak}
					continue
				}
				p := pack{weak, other}
				if r.Pole == "negative" {
					p = pack{other, weak}
				}
				packs[part], at[part] = p, m.ID()
			} else if s.Step.Method == "joined-pole" && s.Step.Dim == quantity.Ohm && s.Decision != run.CannotDecide && part != rework.Whole {
				if !slices.Contains(expected, part) || s.Step.Item() == plan.Frame && at[part] == m.ID() {
					beside[part] = true
					continue
				}
				hi := a.Value + a.U
				if a.Body.Text("bound") == "above" {
					hi = math.Inf(1)
				}
				joined[part], at[part] = span{a.Value - a.U, hi}, m.ID()
			}
		}
	}
	if now != nil {
		r, ok := now.Isolation(step)
		if !ok {
			return nil, false
		}
		w = &Whole{Run: now.ID(), Pole: r.Pole, Measured: spanOf(r.Weaker)}
	}
	if w == nil || len(at) == 0 {
		return nil, false
	}
	w.Parts, w.Beside = at, slices.Sorted(maps.Keys(beside))
	for _, part := range expected {
		if at[part] == "" {
			w.NotOf = append(w.NotOf, part)
		}
	}
	predict := func(end func(span) float64) hv.WholePrediction {
		var poles []hv.Poles
		var rest []float64
		for _, p := range packs {
			poles = append(poles, hv.Poles{Positive: end(p.plus), Negative: end(p.minus)})
		}
		for _, r := range joined {
			rest = append(rest, end(r))
		}
		return hv.PredictWhole(poles, rest)
	}
	low, high := predict(func(s span) float64 { return s.lo }), predict(func(s span) float64 { return s.hi })
	w.Predicted = span{low.PositiveLow, high.PositiveHigh}
	if w.Pole == "negative" {
		w.Predicted = span{low.NegativeLow, high.NegativeHigh}
	}
	if w.Measured.hi < w.Predicted.lo {
		w.Unexplained = true
		w.Unseen = span{1 / (1/w.Measured.lo - 1/w.Predicted.hi), 1 / (1/w.Measured.hi - 1/w.Predicted.lo)}
	}
	return w, true
}

// isolates reports whether a plan reads isolation; known remembers it, as many
// runs have one plan.
func isolates(known map[*plan.Plan]bool, p *plan.Plan) bool {
	does, seen := known[p]
	if !seen {
		does = slices.ContainsFunc(p.Steps, func(s plan.Step) bool {
			return s.Method == "joined-pole" || s.Function == "isolation_two_voltage"
		})
		known[p] = does
	}
	return does
}

func spanOf(e hv.Estimate) span {
	s := span{max(e.X-e.U, 1), e.X + e.U}
	if e.Side == quantity.Above {
		s = span{max(e.X, 1), math.Inf(1)}
	}
	return s
}

// Leaks says what the whole tells that its parts do not.
func (w *Whole) Leaks() []Leak {
	var out []Leak
	if w.Unexplained {
		out = append(out, Leak{UnexplainedLeakage, fmt.Sprintf(
			"the %s pole of the whole shows %s, and its parts let one expect %s or more: an unseen path of %s to chassis",
			w.Pole, w.Measured, ohms(w.Predicted.lo), w.Unseen), w.Run})
	}
	if len(w.NotOf) > 0 {
		out = append(out, Leak{PartNotMeasured, "the isolation of these parts was not measured: " + strings.Join(w.NotOf, ", "), w.Run})
	}
	return out
}

// PredictedRange gives what the parts let one expect of the weaker pole, Ω.
func (w *Whole) PredictedRange() (lo, hi float64) { return w.Predicted.lo, w.Predicted.hi }

// UnseenRange gives the path that the parts do not explain, Ω; meaningful
// where Unexplained.
func (w *Whole) UnseenRange() (lo, hi float64) { return w.Unseen.lo, w.Unseen.hi }
