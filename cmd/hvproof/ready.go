package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

func newReadyCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "ready",
		Short: "each proof with its state; may power come on",
		Long: `Gives each proof with its state and the reason, and whether power may come on:
every required proof holds or does not apply to this car.

A proof holds, is void (what it rests on has changed), lapsed, failed, missing
or not applicable. It says what was tested, in that state, at that time, and
nothing about anybody's competence.

EXIT STATUS
  0 power may come on, 1 it may not, 2 a file is wrong`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.ready(cmd.Context()) },
	}
}

type readyDocument struct {
	MayEnergise bool            `json:"may_energise"`
	Practice    bool            `json:"practice"`
	Proofs      []proofDocument `json:"proofs"`
	OpenItems   []string        `json:"open_items"`
	Reasons     []string        `json:"reasons"`
}

type proofDocument struct {
	ID        string   `json:"id"`
	State     string   `json:"state"`
	Stage     string   `json:"stage,omitempty"`
	Procedure string   `json:"procedure,omitempty"`
	Required  bool     `json:"required"`
	Parts     []string `json:"parts"`
	Reason    string   `json:"reason,omitempty"`
	Run       string   `json:"run,omitempty"`
	Until     string   `json:"until,omitempty"`
}

// ready answers whether power may come on. A folder without a log has no
// proofs; that is an answer, not an error.
func (a *app) ready(ctx context.Context) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	folder, err := s.load()
	if err != nil {
		return err
	}
	proofs := readiness.Proofs(s.facts(), folder.Requirements(s.practice), s.now())
	reasons := s.unready(proofs)
	doc := s.readyJSON(proofs, reasons)
	if a.json {
		err = a.document(doc)
	} else {
		a.printReady(doc)
	}
	if err == nil && !doc.MayEnergise {
		return errNo
	}
	return err
}

func (s *session) readyJSON(proofs []readiness.Proof, reasons []string) readyDocument {
	doc := readyDocument{MayEnergise: len(reasons) == 0, Practice: s.practice, Proofs: []proofDocument{}, OpenItems: []string{}, Reasons: reasons}
	for _, p := range proofs {
		doc.Proofs = append(doc.Proofs, proofJSON(p))
	}
	return doc
}

// unready gives every reason why power may not come on.
func (s *session) unready(proofs []readiness.Proof) []string {
	reasons := []string{}
	for _, f := range s.faults {
		reasons = append(reasons, fmt.Sprintf("the log does not verify: entry %d: %s", f.Entry, f.Sentence))
	}
	required := 0
	for _, p := range proofs {
		if p.Required {
			required++
			if !p.OK() {
				reasons = append(reasons, fmt.Sprintf("%s is %s: %s", p.Proof, p.State, p.Reason))
			}
		}
	}
	if required == 0 {
		reasons = append(reasons, "no proof is required of this car: nothing says that power may come on")
	}
	for _, m := range s.history.Runs() {
		if !m.Closed() && !m.Abandoned() {
			what := "is not finished"
			if m.Outcome() == run.Failed {
				what = "is not signed out"
			}
			reasons = append(reasons, fmt.Sprintf("run %s (%s) %s", m.ID(), m.Plan().Procedure, what))
		}
	}
	return reasons
}

func proofJSON(p readiness.Proof) proofDocument {
	d := proofDocument{ID: p.Proof, State: string(p.State), Stage: p.Stage, Procedure: p.Procedure, Required: p.Required,
		Parts: append([]string{}, p.Parts...), Reason: p.Reason, Run: p.Run}
	if !p.Until.IsZero() {
		d.Until = p.Until.Format(time.DateOnly)
	}
	return d
}

func (a *app) printReady(d readyDocument) {
	if d.Practice {
		a.printf("PRACTICE - never evidence\n")
	}
	if d.MayEnergise {
		a.printf("power may come on: every required proof holds\n\n")
	} else {
		a.printf("power may NOT come on\n\n")
	}
	stage := ""
	for _, p := range d.Proofs {
		if p.Stage != stage {
			stage = p.Stage
			a.printf("stage %s\n", stage)
		}
		name := p.ID
		if !p.Required {
			name += " (not required)"
		}
		line := fmt.Sprintf("  %-34s %-14s %s", name, p.State, p.Reason)
		if p.Until != "" {
			line += " until " + p.Until
		}
		a.printf("%s\n", strings.TrimRight(line, " "))
	}
	if !d.MayEnergise {
		a.printf("\nin the way:\n")
		for _, r := range d.Reasons {
			a.printf("  - %s\n", r)
		}
	}
	a.printf("\nTested, with these results, in this state, at this time; not more. Local codes,\nthe rule book in force, the maker's instructions and licensed people come first.\n")
}
