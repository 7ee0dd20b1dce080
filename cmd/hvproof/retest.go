package main

import (
	"fmt"
	"strings"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
)

// cutDown gives a procedure's plan cut down to what is owed.
func (s *session) cutDown(folder *carfolder.Folder, p *plan.Plan) (*plan.Plan, error) {
	proofs := readiness.Proofs(s.facts(), folder.Requirements(s.practice), s.now())
	r, owed := readiness.RetestOf(proofs, p.Procedure)
	if !owed {
		return nil, diag.No("without --retest it is run whole", "nothing of %s is owed", p.Procedure)
	}
	return r.Plan, nil
}

// printRetest prints what must be run, in order.
func (a *app) printRetest(steps []retestDocument) {
	if len(steps) == 0 {
		a.printf("nothing is to be tested again\n")
		return
	}
	total, people := 0, 1
	for i, r := range steps {
		what := "hvproof run " + r.Procedure
		if !r.Whole {
			what += " --retest"
		}
		a.printf("%2d. %-44s about %d min\n", i+1, what, r.Minutes)
		if !r.Whole {
			a.printf("      %s\n", owedWords(r))
		}
		if r.Why != "" {
			a.printf("      why    %s\n", r.Why)
		}
		meters := "no meter"
		if len(r.Roles) > 0 {
			meters = strings.ReplaceAll(strings.Join(r.Roles, ", "), "_", " ")
		}
		a.printf("      needs  %s, %s\n", number(r.People, "person", "people"), meters)
		total, people = total+r.Minutes, max(people, r.People)
	}
	a.printf("in all about %d min, %s\n", total, number(people, "person", "people"))
}

func number(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
