package main

import (
	"context"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/deskcheck"
	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/rules"
)

func newLimitsCommand(a *app) *cobra.Command {
	explain := ""
	cmd := &cobra.Command{
		Use:   "limits [PROCEDURE]",
		Short: "every computed limit and expected window",
		Long: `Gives every limit of the chosen rule sets and every limit and expected window of
the procedures, computed for this car: formula, numbers put in, result, the rule
that governs, and its source. With --explain ID one of them in full.

Limits are rounded inward and windows outward: paper is never looser than the sum.`,
		Args: mostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.limits(cmd.Context(), strings.Join(args, ""), explain)
		},
	}
	cmd.Flags().StringVar(&explain, "explain", "", "explain the limit with this id, or the limits of the step with this path")
	return cmd
}

// limitLine is one limit with where it stands.
type limitLine struct {
	plan.Bound
	procedure, step string
	listed          *rules.Listed    // of a rule set, nil for a procedure's own
	part, purpose   string           // of the step
	check           *deskcheck.Check // of a desk check, on the first of its bounds
}

// limits prints every limit, or explains one.
func (a *app) limits(_ context.Context, procedure, explain string) error {
	dir, err := a.findFolder()
	if err != nil {
		return err
	}
	folder, problems := carfolder.Load(dir)
	if problems.Errors() {
		return faultyFiles(problems)
	}
	lines, err := limitLines(a, folder, procedure)
	if err != nil {
		return err
	}
	if explain != "" {
		if lines, err = explained(lines, explain); err != nil {
			return err
		}
	}
	page := deskcheck.NewPage(folder.Vehicle)
	if a.json {
		docs, desk := []boundDocument{}, []deskDocument{}
		for _, l := range lines {
			if l.check != nil {
				desk = append(desk, deskJSON(page, l.procedure, l.check))
			}
			if l.Kind == 0 {
				continue // a desk check without a limit
			}
			d := boundJSON(l.Bound, l.procedure, l.step)
			if l.listed != nil {
				d.Missing, d.NotApplicable, d.Status = l.listed.Missing, l.listed.NotApplicable, string(l.listed.Status)
			}
			docs = append(docs, d)
		}
		return a.document(map[string]any{"limits": docs, "desk": desk})
	}
	for _, l := range lines {
		if explain != "" && l.check != nil {
			a.printPage(page.Check(*l.check))
			continue
		}
		a.printLimit(page, l, explain != "")
		if explain != "" && !l.valueless() {
			a.printPage(background(page, l))
		}
	}
	return nil
}

// limitLines gives the limits of the procedures, or of one, and of the rule
// sets themselves where no procedure is named.
func limitLines(a *app, folder *carfolder.Folder, procedure string) ([]limitLine, error) {
	var out []limitLine
	ids := folder.Library.IDs()
	if procedure != "" {
		ids = []string{procedure}
	} else {
		for _, l := range folder.Book.All() {
			out = append(out, limitLine{Bound: l.Bound, listed: &l})
		}
	}
	for _, id := range ids {
		p, err := folder.Plan(id, false)
		if err != nil {
			// What can be decided at the desk is shown, whatever else is missing.
			if draft := folder.Library.Draft(id, folder.Vehicle, folder.Book); draft != nil && slices.Contains(proofsOf(draft), deskcheck.Proof) {
				a.warnf("no run of %s can begin: %v", id, err)
				p, err = draft, nil
			}
		}
		if err != nil {
			if procedure != "" {
				return nil, err
			}
			a.warnf("%s has no plan for this car: %v", id, err)
			continue
		}
		checks := map[string]*deskcheck.Check{}
		if slices.Contains(proofsOf(p), deskcheck.Proof) {
			for _, c := range deskcheck.Review(p) {
				checks[c.Step.Path] = &c
			}
		}
		for i := range p.Steps {
			out = append(out, stepLines(p, &p.Steps[i], checks[p.Steps[i].Path])...)
		}
	}
	return out, nil
}

// stepLines gives the bounds of one step; a desk check stands on the first of
// them, or alone where it is not limited.
func stepLines(p *plan.Plan, s *plan.Step, check *deskcheck.Check) []limitLine {
	var out []limitLine
	for i, b := range s.Bounds {
		l := limitLine{Bound: b, procedure: p.Procedure, step: s.Path, part: strings.Join(s.Parts, " "), purpose: s.Purpose}
		if i == 0 {
			l.check = check
		}
		out = append(out, l)
	}
	if len(out) == 0 && check != nil {
		out = append(out, limitLine{Bound: plan.Bound{ID: s.Path}, procedure: p.Procedure, step: s.Path, check: check})
	}
	return out
}

func proofsOf(p *plan.Plan) []string {
	var out []string
	for _, v := range p.Proves {
		out = append(out, v.ID)
	}
	return out
}

// valueless reports whether a rule set's limit has no value for this car.
func (l limitLine) valueless() bool { return l.listed != nil && !l.listed.HasValue() }

// explained gives the lines with an id or a step path.
func explained(lines []limitLine, what string) ([]limitLine, error) {
	var out []limitLine
	var known []string
	for _, l := range lines {
		known = append(known, l.ID, l.step)
		if l.ID == what || (l.step == what && what != "") {
			same := func(o limitLine) bool {
				return o.ID == l.ID && o.Rules == l.Rules && o.Bound.Bound == l.Bound.Bound && o.Substituted == l.Substituted
			}
			if !slices.ContainsFunc(out, same) {
				out = append(out, l)
			}
		}
	}
	if len(out) == 0 {
		hint := "see the ids with: hvproof limits"
		if near, ok := diag.Nearest(what, known); ok {
			hint = "did you mean " + near + "?"
		}
		return nil, diag.Bad(hint, "there is no limit %q", what)
	}
	return out, nil
}

// printLimit prints one limit: in three lines, or in full.
func (a *app) printLimit(page deskcheck.Page, l limitLine, full bool) {
	where := l.ID
	if l.step != "" {
		where = l.procedure + " " + l.step
		if l.ID != l.step {
			where += " (" + l.ID + ")"
		}
	}
	if l.listed != nil && l.listed.Item != "" {
		where += " for " + l.listed.Item
	}
	by := l.Rules
	if by == "" {
		by = "this procedure"
	}
	if l.check != nil {
		a.printf("%s\n", checkLine(page, l.check, where))
		if l.Kind == 0 {
			return
		}
	}
	switch {
	case l.listed != nil && l.listed.NotApplicable != "":
		a.printf("%s\n    not applicable: %s   %s\n", where, l.listed.NotApplicable, by)
		return
	case l.listed != nil && !l.listed.HasValue():
		a.printf("%s\n    no value: %s   %s\n", where, l.listed.Missing, by)
		return
	}
	role := "governs"
	switch {
	case l.Kind == quantity.Expected:
		role = "window"
	case !l.Governs:
		role = "another is stricter"
	}
	if l.check == nil {
		a.printf("%s\n", where)
	}
	a.printf("    %-28s %s, %s\n    = %s\n", l.Bound.Bound, by, role, l.Formula)
	if l.Substituted != l.Formula {
		a.printf("    = %s\n", l.Substituted)
	}
	if !full {
		return
	}
	for _, in := range l.Inputs {
		text, isCondition := page.Answer(in)
		if !isCondition {
			text = rangeText(in)
		}
		a.printf("      %-34s %s\n", in.Name, text)
	}
	for _, f := range []struct{ name, text string }{
		{"corner", l.Exactness}, {"method", l.Method}, {"stimulus", l.Stimulus}, {"decision rule", decisionRule(l.Bound)}, {"source", l.Source},
	} {
		if f.text != "" {
			a.printf("      %-14s %s\n", f.name, f.text)
		}
	}
	if l.listed != nil {
		a.printf("      %-14s %s, %s\n", "rule set", l.listed.Title, l.listed.Edition)
	}
}

func decisionRule(b plan.Bound) string {
	if b.Kind == quantity.Expected {
		return ""
	}
	return strings.ReplaceAll(b.Rule.String(), "_", " ")
}

func rangeText(in plan.Input) string {
	return quantity.Range{Lo: in.Lo, Nominal: in.Lo, Hi: in.Hi, Dim: in.Dim}.String()
}
