package run

import (
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// A StepResult is what a run has of one step.
type StepResult struct {
	Step     *plan.Step
	Attempts []Attempt // every recorded answer, oldest first
	Decision string    // of the last; NotDone or NotApplicable without one
	Failed   bool      // left failed
}

// Last gives the last attempt, nil without one.
func (s *StepResult) Last() *Attempt {
	if len(s.Attempts) == 0 {
		return nil
	}
	return &s.Attempts[len(s.Attempts)-1]
}

// Steps gives the state of every step of the run.
func (m *Machine) Steps() []StepResult {
	out := make([]StepResult, len(m.steps))
	for i := range m.steps {
		out[i] = m.result(i)
	}
	return out
}

func (m *Machine) result(i int) StepResult {
	s, g := &m.plan.Steps[i], &m.steps[i]
	r := StepResult{Step: s, Attempts: g.attempts, Decision: NotDone, Failed: g.failed}
	switch {
	case s.NotApplicable != "":
		r.Decision = NotApplicable
	case len(g.attempts) > 0 && !g.held:
		r.Decision = g.attempts[len(g.attempts)-1].Decision
	}
	return r
}

// Findings gives the findings of the run's last attempts as "PATH: sentence",
// in the order of the steps.
func (m *Machine) Findings() []string {
	var out []string
	for _, s := range m.Steps() {
		if a := s.Last(); a != nil {
			for _, f := range a.Findings {
				out = append(out, s.Step.Path+": "+f)
			}
		}
	}
	return out
}

// Reason gives why the run failed, empty if it did not.
func (m *Machine) Reason() string { return m.reason }

// wanted gives the numbers of a capture that the step has bounds for.
func (a *Attempt) wanted(s *plan.Step) []string {
	var out []string
	for _, f := range a.Features(s) {
		if slices.ContainsFunc(s.Bounds, func(b plan.Bound) bool { return b.Feature == f.Name }) {
			out = append(out, f.Name+" "+f.String())
		}
	}
	return out
}

// Instruments gives the ids of the instruments that took an answer, each once.
func Instruments(b entry.Body) []string {
	var out []string
	if id := b.Text("instrument"); id != "" {
		out = append(out, id)
	}
	for _, r := range b.Family("recorder") {
		if _, id, ok := cutWord(r); ok && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// Said gives what was answered, in one short text: the reading as typed with
// its uncertainty, the computed value, or the words.
func (a *Attempt) Said(s *plan.Step) string {
	text := a.Body.Text("text")
	low, ranged := a.Body.Number("low")
	high, _ := a.Body.Number("high")
	switch {
	case a.Body.Kind == entry.Capture:
		return strings.Join(append([]string{a.Body.Text("name")}, a.wanted(s)...), ", ")
	case ranged && low == high:
		return quantity.Value{SI: low, Dim: s.Dim}.String()
	case ranged:
		return quantity.Range{Lo: low, Nominal: low, Hi: high, Dim: s.Dim}.String()
	case !a.HasValue:
		return text
	case text == "":
		text = quantity.Value{SI: a.Value, Dim: s.Dim}.String()
		if side := a.Body.Text("bound"); side != "" {
			text = side + " " + text
		}
	}
	if a.U > 0 && a.Body.Text("bound") == "" {
		text += " ± " + quantity.Format(quantity.Value{SI: a.U, Dim: s.Dim}, 2, quantity.RoundUp)
	}
	return text
}
