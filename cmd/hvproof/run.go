package main

import (
	"context"
	"errors"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// runFlags say who runs a procedure with what.
type runFlags struct {
	answers                     string
	operator, witness, releaser string
	others                      []string
	with                        []string // ROLE=INSTRUMENT
	retest                      bool     // only what is owed
}

func (f *runFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.answers, "answers", "", "answer from this file, unattended: practice or rehearsal only")
	cmd.Flags().StringVar(&f.operator, "operator", "", "who runs the procedure")
	cmd.Flags().StringVar(&f.witness, "witness", "", "who watches and signs what was seen")
	cmd.Flags().StringVar(&f.releaser, "releaser", "", "who releases hold points")
	cmd.Flags().StringArrayVar(&f.others, "person", nil, "a further person at the car")
	cmd.Flags().StringArrayVar(&f.with, "with", nil, "ROLE=INSTRUMENT, which meter takes a role's readings")
}

func newRunCommand(a *app) *cobra.Command {
	var f runFlags
	cmd := &cobra.Command{
		Use:   "run PROCEDURE",
		Short: "run a procedure step by step",
		Long: `Runs a procedure step by step: one step on the screen, one reading, one signed
entry. At every prompt "stop" stops and shows how to make safe, "leave" leaves
the run to be resumed, "why" explains the limits.

With --retest only what is owed is walked: the items whose proof does not hold,
and what stands in no loop around them. The log keeps the plan as it was cut
down; proofs are put together from the newest passed run of each item.

With --answers the run is unattended. In a practice folder it is practice; in
any other folder it is stored as a rehearsal and proves nothing.

EXIT STATUS
  0 passed, 1 failed or refused, 2 the call or a file is wrong,
  3 stopped and can be resumed, 4 the machine failed`,
		Args: exactArgs(1, "the procedure's id; see hvproof ready"),
		RunE: func(cmd *cobra.Command, args []string) error { return a.run(cmd.Context(), args[0], f) },
	}
	f.add(cmd)
	cmd.Flags().BoolVar(&f.retest, "retest", false, "only the items that are owed: one contactor, not all")
	return cmd
}

// run begins a run and drives it.
func (a *app) run(ctx context.Context, procedure string, f runFlags) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	folder, err := s.load()
	if err != nil {
		return err
	}
	p, err := s.perform(folder, procedure, f)
	switch {
	case len(p.refused) > 0:
		return a.refuse(p.plan, p.refused)
	case p.machine == nil:
		return err
	}
	return s.finishRun(p.machine, err)
}

// performance is what became of a call to run: refused before anything was
// recorded, or a run as far as it came.
type performance struct {
	plan    *plan.Plan
	refused []string
	machine *run.Machine
}

// perform begins a run, unless it is refused, and drives it as far as it
// goes.
func (s *session) perform(folder *carfolder.Folder, procedure string, f runFlags) (performance, error) {
	var file *answersFile
	var err error
	if f.answers != "" {
		if file, err = readAnswers(s.app.inFolder(s.root, f.answers)); err != nil {
			return performance{}, err
		}
	}
	start, err := s.prepare(folder, procedure, f, file)
	if err != nil {
		return performance{}, err
	}
	p := performance{plan: start.Plan, refused: s.refusals(start, folder)}
	if len(p.refused) > 0 {
		return p, nil
	}
	m, d, err := s.begin(start, file)
	if err != nil {
		return p, err
	}
	p.machine = m
	return p, s.drive(m, d)
}

// refuse prints why a run was not begun.
func (a *app) refuse(p *plan.Plan, why []string) error {
	if a.json {
		if err := a.document(runDocument{Procedure: p.Procedure, Practice: p.Practice, Outcome: run.Refusal, Reasons: why, Steps: []stepDocument{}}); err != nil {
			return err
		}
		return errNo
	}
	a.printf("%s is refused:\n", p.Procedure)
	for _, w := range why {
		a.printf("  - %s\n", w)
	}
	return errNo
}

// begin unlocks the operator's key and begins a run, with its driver.
func (s *session) begin(start run.Start, file *answersFile) (*run.Machine, driver, error) {
	d := s.driver(start.Plan, file)
	if err := s.unlock(start.Operator, d.passphrase); err != nil {
		return nil, nil, err
	}
	m, err := s.beginRun(start)
	if err != nil {
		return nil, nil, err
	}
	if t, ok := d.(*terminal); ok {
		t.m = m
	}
	return m, d, nil
}

// beginRun writes the plan and the run's first entry; the operator has
// unlocked.
func (s *session) beginRun(start run.Start) (*run.Machine, error) {
	text, err := plan.Marshal(start.Plan)
	if err != nil {
		return nil, err
	}
	if start.PlanHash, err = s.store.PutBlob(s.ctx, text); err != nil {
		return nil, err
	}
	meters, err := measure.MarshalInstruments(start.Meters)
	if err != nil {
		return nil, err
	}
	if start.MetersHash, err = s.store.PutBlob(s.ctx, meters); err != nil {
		return nil, err
	}
	if start.Files, err = s.asUsed(start.Plan.Files); err != nil {
		return nil, err
	}
	if open := s.history.Open(); open != nil {
		start.Abandons = open.ID()
		s.app.warnf("run %s (%s) was not finished and is abandoned by this one", open.ID(), open.Plan().Procedure)
	}
	e, err := s.commit(start.Body(), start.Operator)
	if err != nil {
		return nil, err
	}
	m := s.history.Run(run.ID(e.Origin, e.Index))
	if m == nil {
		return nil, errors.New("the run that was just begun is not in the log")
	}
	s.app.sayf("run %s of %s has begun%s", m.ID(), start.Plan.Procedure, mark(start))
	s.app.sayf("recorded %s %d", e.Kind, e.Index)
	return m, nil
}

// mark says in what way a run is not evidence.
func mark(start run.Start) string {
	switch {
	case start.Practice:
		return " - PRACTICE, never evidence"
	case start.Rehearsal:
		return " - REHEARSAL, never evidence"
	}
	return ""
}

func (s *session) driver(p *plan.Plan, file *answersFile) driver {
	if file != nil {
		return &answersDriver{app: s.app, file: file, used: map[string]int{}, cut: len(p.Retest) > 0}
	}
	return newTerminal(s.app, nil)
}

// finishRun prints how the run stands.
func (s *session) finishRun(m *run.Machine, err error) error {
	if err != nil && err != errStopped && err != errNo {
		return err
	}
	if err == nil {
		err = verdict(m)
	}
	if perr := s.printRun(m, err == errStopped); perr != nil {
		return perr
	}
	return err
}

// inFolder gives a path as the command line means it: as it stands if there
// is such a file, else within the car folder.
func (a *app) inFolder(root, path string) string {
	if _, err := os.Stat(path); err == nil || filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(root, path)
}
