package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/checklists"
	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/run"
	"hvproof/internal/yamlfile"
)

// demoClock is when the demo begins; its clock then runs on.
const demoClock = "2027-03-20T09:00:00Z"

func newDemoCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "demo [DIR]",
		Short: "take a practice car through the preparation for its first power-up",
		Long: `Makes a practice car in DIR (default: a new folder hvproof-demo here), takes it
through the preparation for its first power-up with recorded answers, faults,
cures and retests included, writes the log and a report, and verifies both.

Car, people and readings are invented. Nothing in a practice folder is evidence.`,
		Args: mostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.demo(cmd.Context(), strings.Join(args, ""))
		},
	}
}

// story is what happens in the demo, in order.
type story struct {
	Format string    `yaml:"format" validate:"required,oneof=1"`
	Story  []chapter `yaml:"story" validate:"required"`
}

// chapter is one thing that happens: a pass begins, a run, work on the HV
// system, a decision about what a run has found, a grant, the retest plan
// walked to its end, or a look at ready.
type chapter struct {
	Pass      string                        `yaml:"pass"`
	Procedure string                        `yaml:"procedure"`
	Retest    bool                          `yaml:"retest"`
	Work      string                        `yaml:"work"`   // its answers file
	Decide    string                        `yaml:"decide"` // the procedure whose newest nonconformance it is
	Permit    string                        `yaml:"permit"` // a live procedure, or energise
	Walk      yamlfile.Map[yamlfile.Scalar] `yaml:"walk"`   // procedure: answers file, for the retest plan
	Ready     string                        `yaml:"ready"`  // no or yes
	Answers   string                        `yaml:"answers"`
	Vehicle   string                        `yaml:"vehicle"`
	Outcome   string                        `yaml:"outcome"` // of a run: passed, failed, refused
	Say       string                        `yaml:"say"`
}

func readStory() ([]chapter, error) {
	b, err := checklists.Files.ReadFile("demo/story.yaml")
	if err != nil {
		return nil, err
	}
	file, _ := yamlfile.Parse("demo/story.yaml", b)
	var s story
	if faults := file.Decode(&s); faults.Errors() {
		return nil, faults.Err()
	}
	return s.Story, nil
}

// demo makes the practice car and takes it through its story.
func (a *app) demo(ctx context.Context, dir string) error {
	if dir == "" {
		var err error
		if dir, err = freeFolder("hvproof-demo"); err != nil {
			return err
		}
	}
	chapters, err := readStory()
	if err != nil {
		return err
	}
	if err := carfolder.InitDemo(dir); err != nil {
		return err
	}
	quiet := a.demoApp(dir)
	if err := quiet.beginPractice(ctx, dir, []practicePerson{
		{"d.vance", []people.Role{people.Releaser}},
		{"r.mills", []people.Role{people.Operator, people.Witness, people.Releaser}},
		{"s.okoro", []people.Role{people.Operator, people.Witness}},
		{"k.brandt", []people.Role{people.Operator, people.Witness}},
	}); err != nil {
		return err
	}
	a.printf("PRACTICE - car, people and readings are invented; nothing here is evidence\n\n")
	a.printf("Sandpiper, two packs in parallel, 403.2 V at full charge: from nothing proven to\npower on. The clock of the demo begins at %s.\n", demoClock)
	if err := quiet.play(ctx, chapters, a.out); err != nil {
		return err
	}
	return a.demoEnd(ctx, dir, quiet)
}

// demoApp is the program as the demo uses it: in its folder, by its clock,
// and without the talk of single steps.
func (a *app) demoApp(dir string) *app {
	b := *a
	b.dir, b.json, b.out, b.err = dir, false, io.Discard, io.Discard
	b.env = func(name string) string {
		if name == "HVPROOF_NOW" {
			return demoClock
		}
		return a.env(name)
	}
	return &b
}

// freeFolder gives the first of name, name-2, name-3 … that is free.
func freeFolder(name string) (string, error) {
	for n := 1; n < 1000; n++ {
		dir := name
		if n > 1 {
			dir = fmt.Sprintf("%s-%d", name, n)
		}
		if _, err := os.Lstat(dir); errors.Is(err, fs.ErrNotExist) {
			return dir, nil
		}
	}
	return "", diag.Bad("name a new folder", "%s to %s-999 are all taken", name, name)
}

// play takes the car through the chapters. Each must end as the story says;
// anything else is a fault of the demo.
func (a *app) play(ctx context.Context, chapters []chapter, out io.Writer) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	p := player{s: s, out: out}
	for _, c := range chapters {
		if err := p.chapter(c); err != nil {
			return err
		}
	}
	return nil
}

// useVehicle puts one of the demo's vehicle files in place.
func useVehicle(root, name string) error {
	b, err := checklists.Files.ReadFile("demo/" + name)
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(root, carfolder.VehicleFile), b, 0o644); err != nil {
		return diag.Machine("", "%v", err)
	}
	return nil
}

func tellSteps(out io.Writer, m *run.Machine) {
	said := 0
	for _, s := range m.Steps() {
		for i := range s.Attempts {
			at := &s.Attempts[i]
			good := at.Decision == run.Pass || at.Decision == run.Done
			if good && !at.HasValue && s.Step.Kind != plan.Capture {
				said++
				continue
			}
			if s.Step.LeadCheck != "" && good {
				said++
				continue
			}
			fmt.Fprintf(out, "      %-32s %-26s %s\n", s.Step.Path, at.Said(s.Step)+limitOf(s.Step), at.Decision)
			for _, f := range at.Findings {
				fmt.Fprintf(out, "%s\n", wrapped("        ! ", f))
			}
		}
	}
	if said > 0 {
		fmt.Fprintf(out, "      and %d further steps as they should be, each recorded and signed\n", said)
	}
}

// limitOf gives the first governing limit of a step.
func limitOf(s *plan.Step) string {
	if s.Kind == plan.Capture {
		return "" // each of its numbers has its own; what is wrong is said
	}
	for _, b := range s.Limits() {
		return "  " + b.Bound.String()
	}
	return ""
}

// demoEnd writes the report, verifies log and report, and says what to look
// at next.
func (a *app) demoEnd(ctx context.Context, dir string, quiet *app) error {
	report := filepath.Join(dir, "report.txt")
	if err := quiet.writeReport(ctx, "", reportFlags{text: report}); err != nil {
		return err
	}
	a.printf("\nreport of the whole car: %s\nverified:\n", report)
	check := *quiet
	check.out = a.out
	if err := check.verify(ctx, "", verifyFlags{}); err != nil {
		return err
	}
	later, err := time.Parse(time.RFC3339, demoClock)
	if err != nil {
		return err
	}
	clock := later.Add(time.Hour).Format(time.RFC3339)
	a.printf(`
look at next (the demo's clock goes on with HVPROOF_NOW):
  export HVPROOF_NOW=%s
  hvproof -C %s ready                    which proofs hold, and what is in the way
  hvproof -C %s limits                   every limit, computed for this car
  hvproof -C %s limits --explain isolation_whole
  hvproof -C %s plan bonding             whether the meters at hand can decide
  hvproof -C %s log                      every signed entry
  hvproof -C %s permit show              what was granted, and what is in force
  hvproof -C %s rework                   record work, and see what it makes void
`, clock, dir, dir, dir, dir, dir, dir, dir)
	return nil
}
