package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
)

func newBaselineCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "baseline",
		Short: "the commissioning runs that later readings are compared with",
		Long: `Says which runs are the baseline: with their readings later ones are compared
for falling passes, and with their plans those of later runs for anything that
was made looser. Without one, the first readings and runs stand in its place.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.baselineShow(cmd.Context()) },
	}
	show := &cobra.Command{Use: "show", Short: "which baseline is in force, and those before it", Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.baselineShow(cmd.Context()) }}
	var answers, by string
	set := &cobra.Command{
		Use:   "set [RUN]…",
		Short: "name the commissioning runs, with two signatures",
		Long: `Names the commissioning runs: those given, or else all that the proofs that hold
now rest on. A releaser signs, and one other person. A later baseline takes the
place of an earlier one, which stays in the log; verify remarks on it.`,
		RunE: func(cmd *cobra.Command, args []string) error { return a.baselineSet(cmd.Context(), args, answers, by) },
	}
	set.Flags().StringVar(&answers, "answers", "", "answer from this file")
	set.Flags().StringVar(&by, "by", "", "who signs")
	cmd.AddCommand(set, show)
	return cmd
}

// baselineDocument is a baseline.
type baselineDocument struct {
	Entry   int64    `json:"entry"`
	Time    string   `json:"time"`
	Runs    []string `json:"runs"`
	Reason  string   `json:"reason"`
	Signers []string `json:"signers"`
	InForce bool     `json:"in_force"`
}

func (s *session) baselineJSON(b *readiness.Baseline) baselineDocument {
	d := baselineDocument{b.Index, b.Given.Format(time.RFC3339), append([]string{}, b.Runs...), b.Reason, []string{b.Signer}, b == s.record.Baseline()}
	if b.Second != "" {
		d.Signers = append(d.Signers, b.Second)
	}
	return d
}

func (a *app) baselineShow(ctx context.Context) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	docs := []baselineDocument{}
	for _, b := range s.record.Baselines() {
		docs = append(docs, s.baselineJSON(b))
	}
	if a.json {
		return a.document(map[string]any{"baselines": docs})
	}
	a.printf("baseline %s\n", s.record.Baseline())
	for _, d := range docs {
		state := "in force"
		switch {
		case len(d.Signers) < 2:
			state = "the second signature is missing"
		case !d.InForce:
			state = "replaced"
		}
		a.printf("\n%d  %s, signed by %s, %s\n   %s\n", d.Entry, d.Time[:10], strings.Join(d.Signers, " and "), state, d.Reason)
		for _, id := range d.Runs {
			what := "not in this log"
			if m := s.history.Run(id); m != nil {
				what = m.Plan().Procedure
			}
			a.printf("   %-16s %s\n", id, what)
		}
	}
	return nil
}

func (a *app) baselineSet(ctx context.Context, runs []string, answers, by string) error {
	s, err := a.writeWhole(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	b, err := s.recordBaseline(runs, answers, by)
	if err != nil {
		return err
	}
	if a.json {
		return a.document(map[string]any{"baseline": s.baselineJSON(b)})
	}
	a.printf("baseline %d: %s, signed by %s and %s\n", b.Index, number(len(b.Runs), "run", "runs"), b.Signer, b.Second)
	return nil
}

// recordBaseline records the named runs, or those that the proofs that hold
// now rest on, as the baseline, with both signatures.
func (s *session) recordBaseline(runs []string, answers, by string) (*readiness.Baseline, error) {
	runs, err := s.commissioning(runs)
	if err != nil {
		return nil, err
	}
	file, err := s.answersFor(answers)
	if err != nil {
		return nil, err
	}
	if by, err = s.signer(by, file, "releaser", people.Releaser); err != nil {
		return nil, err
	}
	form := readiness.BaselineForm(s.names(""), by)
	if err := s.app.fill(form, file); err != nil {
		return nil, err
	}
	if _, err := s.recordBy(readiness.BaselineBody(runs, form), by); err != nil {
		return nil, err
	}
	baselines := s.record.Baselines()
	b := baselines[len(baselines)-1]
	second := form.Get("second")
	if _, err := s.recordBy(readiness.Countersign(b.Ref), second); err != nil {
		return nil, err
	}
	s.lock(second)
	s.lock(by)
	return b, nil
}

// commissioning gives the named runs, each of which must have passed; without
// names, those that the proofs that hold now rest on.
func (s *session) commissioning(named []string) ([]string, error) {
	if len(named) == 0 {
		folder, err := s.load()
		if err != nil {
			return nil, err
		}
		proofs := readiness.Proofs(s.facts(), folder.Requirements(s.practice), s.now())
		if named = readiness.Commissioning(s.facts(), proofs); len(named) == 0 {
			return nil, diag.No("see hvproof ready", "no proof holds: there is nothing to be the baseline")
		}
	}
	for i, id := range named {
		m, err := s.findRun(id)
		if err != nil {
			return nil, err
		}
		for _, other := range named[:i] {
			if other == id {
				return nil, diag.Bad("name it once", "run %s is named twice", id)
			}
		}
		if why := readiness.NoBaseline(m); why != "" {
			return nil, diag.No("name runs that have passed", "run %s (%s) cannot be part of a baseline: %s", id, m.Plan().Procedure, why)
		}
	}
	return named, nil
}

// baselineLine says for a screen which baseline is in force.
func (s *session) baselineLine() string { return fmt.Sprintf("baseline %s", s.record.Baseline()) }
