package main

import (
	"context"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/readiness"
)

func newJudgeCommand(a *app) *cobra.Command {
	rules := ""
	cmd := &cobra.Command{
		Use:   "judge RUN",
		Short: "the same readings against another rule set",
		Long: `Judges the readings of a run again, by another rule set: what passes, what
fails, and what was measured by a method or at a voltage that this rule set does
not accept, and must be measured anew. Nothing in the log changes.

EXIT STATUS
  0 all of it passes, 1 not all, 2 the call or a file is wrong`,
		Args: exactArgs(1, "a run's id; see hvproof log"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.judge(cmd.Context(), args[0], rules) },
	}
	cmd.Flags().StringVar(&rules, "rules", "", "the rule set")
	return cmd
}

type judgeDocument struct {
	Run     string          `json:"run"`
	Rules   string          `json:"rules"`
	OK      bool            `json:"ok"`
	Results []againDocument `json:"results"`
}

type againDocument struct {
	Step   string          `json:"step"`
	Said   string          `json:"said"`
	Before string          `json:"before"`
	After  string          `json:"after"`
	Why    string          `json:"why,omitempty"`
	Anew   bool            `json:"anew"` // must be measured again
	Limits []boundDocument `json:"limits"`
	Silent []string        `json:"silent"` // limits that the rule set does not have
}

func (a *app) judge(ctx context.Context, id, set string) error {
	if set == "" {
		return diag.Bad("name it with --rules", "no rule set was named")
	}
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	m, err := s.findRun(id)
	if err != nil {
		return err
	}
	folder, err := s.load()
	if err != nil {
		return err
	}
	rules, err := folder.Under(set)
	if err != nil {
		return err
	}
	d := judgeDocument{Run: m.ID(), Rules: set, OK: true, Results: []againDocument{}}
	for _, r := range readiness.JudgeAgain(m, rules) {
		doc := againDocument{r.Path, r.Said, r.Before, r.After, r.Why, r.Anew(), []boundDocument{}, append([]string{}, r.Silent...)}
		for _, b := range r.Bounds {
			doc.Limits = append(doc.Limits, boundJSON(b, "", r.Path))
		}
		d.OK = d.OK && (r.After == "pass" || r.After == "done")
		d.Results = append(d.Results, doc)
	}
	if a.json {
		err = a.document(d)
	} else {
		a.printJudged(d)
	}
	if err == nil && !d.OK {
		return errNo
	}
	return err
}

func (a *app) printJudged(d judgeDocument) {
	a.printf("%s by %s; the log stays as it is\n", d.Run, d.Rules)
	for _, r := range d.Results {
		change := r.After
		switch {
		case r.Anew:
			change += ": measure anew"
		case len(r.Limits) == 0:
			change = d.Rules + " has no such limit (" + strings.Join(r.Silent, ", ") + ")"
		case r.After != r.Before:
			change += ", was " + r.Before
		}
		a.printf("  %-34s %-24s %s\n", r.Step, r.Said, change)
		if r.Why != "" {
			a.printf("      %s\n", r.Why)
		}
	}
	if len(d.Results) == 0 {
		a.printf("  no step of it has a limit out of a rule set\n")
	}
}
