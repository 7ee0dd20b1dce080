package main

import (
	"context"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
	"hvproof/internal/run"
)

func newResumeCommand(a *app) *cobra.Command {
	var answers string
	cmd := &cobra.Command{
		Use:   "resume [RUN]",
		Short: "go on where a run stopped",
		Long: `Goes on where a run stopped: the last one that is not closed, or the one named.
The state of the car comes first, then the step that waits. Nothing that was
recorded is asked again.

EXIT STATUS
  as for run`,
		Args: mostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			id := ""
			if len(args) == 1 {
				id = args[0]
			}
			return a.resume(cmd.Context(), id, answers)
		},
	}
	cmd.Flags().StringVar(&answers, "answers", "", "answer from this file, unattended: practice or rehearsal only")
	return cmd
}

func (a *app) resume(ctx context.Context, id, answers string) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	m, err := s.toResume(id)
	if err != nil {
		return err
	}
	var file *answersFile
	if answers != "" {
		if file, err = readAnswers(a.inFolder(s.root, answers)); err != nil {
			return err
		}
		if err := file.check(m.Plan()); err != nil {
			return err
		}
		if start := m.Start(); !start.Practice && !start.Rehearsal {
			return diag.Bad("go on without --answers", "run %s is a real run: it cannot be answered from a file", m.ID())
		}
	}
	if p := m.Plan(); p.Live && !m.Start().Rehearsal {
		who := append([]string{m.Start().Operator, m.Start().Witness, m.Start().Releaser}, m.Start().Others...)
		if no := s.record.Sanctioned(p.Procedure, p.Stage, who, s.now()); no != "" {
			a.warnf("%s; make safe, and go on with a sanction", no)
		}
	}
	m.Interrupted()
	d := s.driver(m.Plan(), file)
	if t, ok := d.(*terminal); ok {
		t.m = m
	}
	if err := s.unlock(m.Start().Operator, d.passphrase); err != nil {
		return err
	}
	return s.finishRun(m, s.drive(m, d))
}

// toResume gives the run to go on with.
func (s *session) toResume(id string) (*run.Machine, error) {
	m := s.history.Run(id)
	switch {
	case id == "":
		if m = s.history.Open(); m == nil {
			return nil, diag.Bad("begin one with: hvproof run PROCEDURE", "no run waits to be resumed")
		}
	case m == nil:
		return nil, diag.Bad("see the runs with: hvproof log", "there is no run %q", id)
	case m.Closed():
		return nil, diag.Bad("begin a new one with: hvproof run "+m.Plan().Procedure, "run %s has ended: %s", id, m.Outcome())
	case m.Abandoned():
		return nil, diag.Bad("resume the newer one", "run %s was abandoned for a newer run", id)
	}
	if err := m.Broken(); err != nil {
		return nil, diag.No("hvproof verify says more", "run %s cannot go on: %v", m.ID(), err)
	}
	return m, nil
}
