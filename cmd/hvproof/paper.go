package main

import (
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

const paperWidth = 88

// printPaper prints a procedure as a form with blank lines: the same steps,
// limits and make-safe instruction, to be filled in by hand.
func (a *app) printPaper(p *plan.Plan) {
	rule := strings.Repeat("_", paperWidth)
	a.printf("%s\n%s  (stage %s)   car: %s\n%s\n", rule, p.Title, p.Stage, p.Car, rule)
	if p.NotApplicable != "" {
		a.printf("does not apply to this car: %s\n", p.NotApplicable)
		return
	}
	a.printf("\nDate ____________  Place ______________________  Temperature ______ °C  Humidity _____ %%  wet / dry\n")
	a.printf("Operator ____________________  Witness ____________________  Releaser ____________________\n")
	a.printf("Meters (id, calibrated until) ____________________________________________________________\n\n")
	a.printf("MAKE SAFE, at any moment, without asking:\n")
	for i, s := range p.MakeSafe {
		a.printf("  %d. %s\n", i+1, s)
	}
	for _, t := range p.Protective {
		a.printf("[ ] %s\n", t.Text)
	}
	for _, t := range p.Cautions {
		a.printf("CAUTION: %s\n", t.Text)
	}
	state := map[string]string{}
	for i := range p.Steps {
		s := &p.Steps[i]
		if s.NotApplicable != "" {
			a.printf("\n%-4s %s\n     not applicable: %s\n", "-", s.Path, s.NotApplicable)
			continue
		}
		if i == p.SignOut {
			a.printf("\nSIGN-OUT: without it this form is NOT CLOSED\n")
		}
		a.paperStep(i+1, s, state)
	}
	a.printf("\nLocal codes, the rule book in force, the maker's instructions and licensed people come\nfirst. A reading taken on paper is entered later as `read at`, and is marked so.\n")
}

func (a *app) paperStep(n int, s *plan.Step, state map[string]string) {
	a.printf("\n%3d. %s\n     %s\n", n, s.Path, s.Text)
	for _, c := range s.Cautions {
		a.printf("     CAUTION: %s\n", c.Text)
	}
	for _, st := range s.State {
		if state[st.Name] != st.Value {
			state[st.Name] = st.Value
			a.printf("     state: %s %s\n", strings.ReplaceAll(st.Name, "_", " "), st.Value)
		}
	}
	for _, b := range s.Bounds {
		what := "limit"
		switch {
		case b.Kind == quantity.Expected:
			what = "expected"
		case !b.Governs:
			continue
		}
		a.printf("     %s: %s  %s\n", what, b.Bound, b.Rules)
	}
	switch s.Kind {
	case plan.Confirm, plan.Observe:
		a.printf("     %s\n", boxes(s.Choices))
	case plan.Hold:
		a.printf("     released by ______________________  at ______\n")
	default:
		a.printf("     ______________________  meter ____________  at ______\n")
	}
	if s.Witness {
		a.printf("     seen by ______________________\n")
	}
}

func boxes(choices []string) string {
	if len(choices) == 0 {
		return "______________________"
	}
	return "[ ] " + strings.Join(choices, "   [ ] ")
}
