package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
)

func newCompareCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "compare RUN RUN",
		Short: "two runs side by side",
		Long: `Sets two runs side by side, step by step. A change is marked where it is beyond
what the meters leave open.`,
		Args: exactArgs(2, "two run ids; see hvproof log"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.compare(cmd.Context(), args[0], args[1]) },
	}
}

type compareDocument struct {
	Runs  []string       `json:"runs"`
	Steps []pairDocument `json:"steps"`
}

type pairDocument struct {
	ID        string            `json:"id"`
	Said      []string          `json:"said"`
	Decisions []string          `json:"decisions"`
	Change    *quantityDocument `json:"change,omitempty"`
	Beyond    bool              `json:"beyond"` // of what the meters leave open
}

func (a *app) compare(ctx context.Context, first, second string) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	x, err := s.findRun(first)
	if err != nil {
		return err
	}
	y, err := s.findRun(second)
	if err != nil {
		return err
	}
	d := compareDocument{Runs: []string{x.ID(), y.ID()}, Steps: []pairDocument{}}
	pairs := readiness.Compare(x, y)
	for _, p := range pairs {
		doc := pairDocument{ID: p.Path, Said: []string{p.A, p.B}, Decisions: []string{p.DecidedA, p.DecidedB}, Beyond: p.Beyond}
		if p.HasChange {
			doc.Change = quantityJSON(p.Change, p.Dim)
			doc.Change.within(p.U)
		}
		d.Steps = append(d.Steps, doc)
	}
	if a.json {
		return a.document(d)
	}
	a.printf("%s (%s, %s) and %s (%s, %s)\n", x.ID(), x.Plan().Procedure, x.Start().Date, y.ID(), y.Plan().Procedure, y.Start().Date)
	for _, p := range pairs {
		if p.A == p.B && p.DecidedA == p.DecidedB {
			continue
		}
		note := ""
		switch {
		case p.OnlyA:
			note = "only in the first"
		case p.OnlyB:
			note = "only in the second"
		case p.HasChange:
			note = fmt.Sprintf("%+.3g %s", p.Change, unitOf(p.Dim))
			if p.Beyond {
				note += ", beyond what the meters leave open"
			}
		}
		a.printf("  %-34s %-22s %-22s %s\n", p.Path, p.A, p.B, note)
	}
	return nil
}

func unitOf(d quantity.Dim) string {
	if unit, ok := d.Unit(); ok {
		return unit
	}
	return d.String()
}
