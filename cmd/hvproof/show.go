package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/report"
	"hvproof/internal/run"
)

func newShowCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "show RUN",
		Short: "show what a run recorded, step by step, its waveforms drawn",
		Args:  exactArgs(1, "the run's id; see hvproof log"),
		RunE:  func(cmd *cobra.Command, args []string) error { return a.show(cmd.Context(), args[0]) },
	}
}

func (a *app) show(ctx context.Context, id string) error {
	s, err := a.read(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	m, err := s.findRun(id)
	if err != nil {
		return err
	}
	for _, f := range s.faults {
		a.warnf("the log does not verify: entry %d: %s", f.Entry, f.Sentence)
	}
	if err := s.printRun(m, false); err != nil || a.json {
		return err
	}
	s.drawWaveforms(m)
	return nil
}

// drawWaveforms draws the waveforms of a run with characters, below the steps.
func (s *session) drawWaveforms(m *run.Machine) {
	for _, r := range m.Steps() {
		for i := range r.Attempts {
			at := &r.Attempts[i]
			chart, remark := report.Figure(m, r.Step, at, func(d [32]byte) ([]byte, error) { return s.book.Blob(s.ctx, d) })
			if chart == nil && remark == "" {
				continue
			}
			s.app.printf("\n%s, entry %d\n", r.Step.Path, at.Index)
			if chart != nil {
				s.app.printf("%s\n", strings.Join(chart.Characters(drawnWidth), "\n"))
			}
			if remark != "" {
				s.app.printf("%s\n", remark)
			}
		}
	}
}

// drawnWidth is how wide a waveform is drawn, in characters.
const drawnWidth = 80

// findRun gives the run with the id.
func (s *session) findRun(id string) (*run.Machine, error) {
	if m := s.history.Run(id); m != nil {
		return m, nil
	}
	var ids []string
	for _, m := range s.history.Runs() {
		ids = append(ids, m.ID())
	}
	hint := "see the runs with: hvproof log"
	if near, ok := diag.Nearest(id, ids); ok {
		hint = "did you mean " + near + "?"
	}
	return nil, diag.Bad(hint, "there is no run %q", id)
}

// printRun gives a run as the command's answer: a document, or a table.
func (s *session) printRun(m *run.Machine, stopped bool) error {
	if s.app.json {
		return s.app.document(runJSON(m))
	}
	outcome := m.Outcome()
	if outcome == run.Open || stopped {
		outcome = run.Stopped
	}
	s.app.printf("run %s  %s: %s%s\n", m.ID(), m.Plan().Procedure, outcome, mark(m.Start()))
	for _, r := range m.Steps() {
		s.app.printf("%s\n", stepLine(r))
		for k := range r.Attempts {
			a := &r.Attempts[k]
			if k+1 < len(r.Attempts) {
				s.app.printf("%34sattempt %d: %s  %s\n", "", k+1, a.Decision, a.Said(r.Step))
			}
			for _, f := range a.Findings {
				s.app.printf("%34s! %s\n", "", f)
			}
		}
	}
	if m.Reason() != "" {
		s.app.printf("because %s\n", m.Reason())
	}
	if !m.Closed() {
		s.app.printf("NOT CLOSED\n")
	}
	return nil
}

// stepLine gives a step in one line: path, decision, what was read, limit.
func stepLine(r run.StepResult) string {
	line := fmt.Sprintf("  %-30s  %-16s", r.Step.Path, r.Decision)
	if a := r.Last(); a != nil {
		line += "  " + a.Said(r.Step)
		if len(r.Attempts) > 1 {
			line += fmt.Sprintf("  (attempt %d)", len(r.Attempts))
		}
		for _, b := range r.Step.Limits() {
			line += "  " + of(b) + b.Bound.String()
		}
	} else if r.Step.NotApplicable != "" {
		line += "  " + r.Step.NotApplicable
	}
	return line
}
