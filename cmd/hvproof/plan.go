package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/heat"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

func newPlanCommand(a *app) *cobra.Command {
	paper := false
	cmd := &cobra.Command{
		Use:   "plan PROCEDURE",
		Short: "what a run needs, and whether the meters at hand can decide",
		Long: `Says what a run of the procedure needs: people, protective equipment, states of
the car, steps with expected values and limits, and for each role of an
instrument whether a meter at hand can decide every limit, today. Of resistors
that it heats: the joules put in today, and the wait before the next try.

With --paper prints a form with blank lines: to take along, or to fall back on.

EXIT STATUS
  0 every limit can be decided, 1 some cannot, 2 a file is wrong`,
		Args: exactArgs(1, "the procedure's id"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.plan(cmd.Context(), args[0], paper) },
	}
	cmd.Flags().BoolVar(&paper, "paper", false, "a printable form with blank lines")
	return cmd
}

// meterDocument says what one meter at hand can do for a role.
type meterDocument struct {
	Role       string   `json:"role"`
	Instrument string   `json:"instrument,omitempty"`
	Usable     bool     `json:"usable"`
	Problems   []string `json:"problems"`
	Notes      []string `json:"notes"`
}

type planDocument struct {
	Procedure     string          `json:"procedure"`
	Title         string          `json:"title"`
	Stage         string          `json:"stage"`
	NotApplicable string          `json:"not_applicable,omitempty"`
	OK            bool            `json:"ok"`
	People        int             `json:"people"`
	Prerequisites []string        `json:"prerequisites"`
	Protective    []string        `json:"protective"`
	MakeSafe      []string        `json:"make_safe"`
	Meters        []meterDocument `json:"meters"`
	Steps         []planStep      `json:"steps"`
	Heat          []heatDocument  `json:"heat,omitempty"` // what today's tries have put into resistors
}

type planStep struct {
	ID            string            `json:"id"`
	Kind          string            `json:"kind"`
	Text          string            `json:"text"`
	NotApplicable string            `json:"not_applicable,omitempty"`
	State         map[string]string `json:"state,omitempty"`
	Role          string            `json:"role,omitempty"`
	Expect        string            `json:"expect,omitempty"`
	Choices       []string          `json:"choices,omitempty"`
	Witness       bool              `json:"witness"`
	IfFailed      string            `json:"if_failed"`
	Limits        []boundDocument   `json:"limits"`
}

// plan prints what a run needs.
func (a *app) plan(ctx context.Context, id string, paper bool) error {
	dir, err := a.findFolder()
	if err != nil {
		return err
	}
	folder, problems := carfolder.Load(dir)
	if problems.Errors() {
		return faultyFiles(problems)
	}
	p, err := folder.Plan(id, false)
	if err != nil {
		return err
	}
	now, err := a.time(ctx)
	if err != nil {
		return err
	}
	var heated []heat.Account
	if parts := heat.Heated(p); parts != nil {
		if heated, err = a.heatToday(ctx, now, parts); err != nil {
			return err
		}
	}
	meters, ok := meterOutlook(folder, p, now.Format(time.DateOnly))
	switch {
	case a.json:
		doc := planJSON(p, meters, ok)
		doc.Heat = heatJSON(heated)
		err = a.document(doc)
	case paper:
		a.printPaper(p)
	default:
		a.printPlan(p, meters)
		if p.Live {
			for _, q := range folder.Gloves(now) {
				a.warnf("%s; %s", q.Message, q.Hint)
			}
		}
		for _, x := range heated {
			a.printf("\n%s\n", heatLine(x))
		}
	}
	if err == nil && !ok && !paper {
		return errNo
	}
	return err
}

// meterOutlook says for each role which meters at hand can take its readings
// and decide its limits on the date. It is ok if every role has one that can.
func meterOutlook(folder *carfolder.Folder, p *plan.Plan, date string) ([]meterDocument, bool) {
	docs, ok := []meterDocument{}, true
	for _, role := range run.Roles(p) {
		able := folder.WithRole(role)
		if len(able) == 0 {
			docs = append(docs, meterDocument{Role: role, Problems: []string{"no instrument has this role"}, Notes: []string{}})
			ok = false
			continue
		}
		some := false
		for _, in := range able {
			start := run.Start{Plan: p, Date: date, Meters: []measure.Instrument{in}, Instruments: map[string]string{role: in.ID}}
			d := meterDocument{Role: role, Instrument: in.ID, Problems: []string{}, Notes: []string{}}
			d.Problems = append(d.Problems, start.MeterRefusals(role)...)
			for _, o := range start.MeterOutlook(role) {
				switch {
				case o.Hopeless && len(d.Problems) == 0, !o.Hopeless && !o.Decides:
					d.Problems = append(d.Problems, strings.TrimSpace(fmt.Sprintf("cannot decide %s: %s %s", o.Bound.Bound, o.Why, o.Needed)))
				case !o.Hopeless && o.Why != "":
					d.Notes = append(d.Notes, fmt.Sprintf("%s: %s", o.Bound.Bound, o.Why))
				}
			}
			d.Problems, d.Notes = once(d.Problems), once(d.Notes)
			d.Usable = len(d.Problems) == 0
			some = some || d.Usable
			docs = append(docs, d)
		}
		ok = ok && some
	}
	return docs, ok
}

// once gives each sentence once, in order.
func once(sentences []string) []string {
	out := []string{}
	for _, s := range sentences {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

func planJSON(p *plan.Plan, meters []meterDocument, ok bool) planDocument {
	d := planDocument{Procedure: p.Procedure, Title: p.Title, Stage: p.Stage, NotApplicable: p.NotApplicable, OK: ok, People: p.People,
		Prerequisites: append([]string{}, p.Prerequisites...), Protective: []string{}, MakeSafe: append([]string{}, p.MakeSafe...),
		Meters: meters, Steps: []planStep{}}
	for _, t := range p.Protective {
		d.Protective = append(d.Protective, t.Text)
	}
	for i := range p.Steps {
		s := &p.Steps[i]
		st := planStep{ID: s.Path, Kind: s.Kind, Text: s.Text, NotApplicable: s.NotApplicable, Role: s.Role, Expect: s.Expect,
			Choices: s.Choices, Witness: s.Witness, IfFailed: s.IfFailed, Limits: []boundDocument{}}
		for _, x := range s.State {
			if st.State == nil {
				st.State = map[string]string{}
			}
			st.State[x.Name] = x.Value
		}
		for _, b := range s.Bounds {
			st.Limits = append(st.Limits, boundJSON(b, p.Procedure, s.Path))
		}
		d.Steps = append(d.Steps, st)
	}
	return d
}

func (a *app) printPlan(p *plan.Plan, meters []meterDocument) {
	a.printf("%s  (%s, stage %s)\n%s\n\n", p.Title, p.Procedure, p.Stage, p.Purpose)
	if p.NotApplicable != "" {
		a.printf("does not apply to this car: %s\n", p.NotApplicable)
		return
	}
	a.printf("people         at least %d\n", p.People)
	a.printf("needs first    %s\n", orNothing(strings.Join(p.Prerequisites, ", ")))
	for i, t := range p.Protective {
		a.printf("%-14s %s\n", map[bool]string{true: "protective"}[i == 0], t.Text)
	}
	for _, t := range p.Cautions {
		a.printf("CAUTION        %s\n", t.Text)
	}
	for i, s := range p.MakeSafe {
		a.printf("%-14s %d. %s\n", map[bool]string{true: "make safe"}[i == 0], i+1, s)
	}
	a.printf("\nmeters at hand\n")
	for _, m := range meters {
		verdict := "can decide"
		if !m.Usable {
			verdict = "CANNOT COUNT"
		}
		a.printf("  %-16s %-12s %s\n", m.Role, m.Instrument, verdict)
		for _, x := range m.Problems {
			a.printf("      - %s\n", x)
		}
		for _, x := range m.Notes {
			a.printf("      note: %s\n", x)
		}
	}
	a.printf("\nsteps\n")
	for i := range p.Steps {
		s := &p.Steps[i]
		a.printf("  %s  [%s]%s\n      %s\n", s.Path, s.Kind, map[bool]string{true: " witnessed"}[s.Witness], s.Text)
		if s.NotApplicable != "" {
			a.printf("      not applicable: %s\n", s.NotApplicable)
		}
		for _, b := range s.Bounds {
			a.printf("      %s  %s\n", b.Bound, b.Rules)
		}
	}
}

func orNothing(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}
