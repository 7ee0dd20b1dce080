package main

import (
	"bytes"
	"context"
	"encoding/json"
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

// chapter is one thing that happens: a pass begins, the car's file is changed,
// a run, a look at a plan's meters, work on the HV system, a decision about what
// a run has found, the baseline, a grant, the retest plan walked as far as the
// walk has readings for it, the faults found so far, or a look at ready.
type chapter struct {
	Pass      string                        `yaml:"pass"`
	Vehicle   string                        `yaml:"vehicle"` // the car's file from here on
	Procedure string                        `yaml:"procedure"`
	Retest    bool                          `yaml:"retest"`
	Plan      string                        `yaml:"plan"`     // the procedure whose meters are looked at
	Work      string                        `yaml:"work"`     // its answers file
	Decide    string                        `yaml:"decide"`   // the procedure whose newest nonconformance it is
	Baseline  string                        `yaml:"baseline"` // its answers file
	Permit    string                        `yaml:"permit"`   // a live procedure, or energise
	Walk      yamlfile.Map[yamlfile.Scalar] `yaml:"walk"`     // procedure: answers file, for the retest plan
	Ready     string                        `yaml:"ready"`    // no or yes
	Faults    string                        `yaml:"faults"`   // how many have been found
	Answers   string                        `yaml:"answers"`
	Outcome   string                        `yaml:"outcome"` // of a run: passed, failed, refused
	Show      []string                      `yaml:"show"`    // steps of a run worth a line though they are as they should be
	Say       string                        `yaml:"say"`
	Fault     string                        `yaml:"fault"` // the seeded fault that a run has found, in a sentence; {…} is filled from the log
}

// demoFiles are the demo's story and its states of the car's file.
func demoFiles() (fs.FS, error) { return fs.Sub(checklists.Files, "demo") }

func readStory(files fs.FS) ([]chapter, error) {
	b, err := fs.ReadFile(files, "story.yaml")
	if err != nil {
		return nil, err
	}
	file, _ := yamlfile.Parse("story.yaml", b)
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
	files, err := demoFiles()
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
	if err := quiet.play(ctx, files, a.out); err != nil {
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

// play takes the car through the chapters of a story, which lies in files with
// the states of the car's file. Each must end as the story says; anything else
// is a fault of the demo.
func (a *app) play(ctx context.Context, files fs.FS, out io.Writer) error {
	chapters, err := readStory(files)
	if err != nil {
		return err
	}
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	p := player{s: s, out: out, files: files}
	for _, c := range chapters {
		if err := p.chapter(c); err != nil {
			return err
		}
	}
	return nil
}

// useVehicle puts one of a story's vehicle files in place.
func useVehicle(root string, files fs.FS, name string) error {
	b, err := fs.ReadFile(files, name)
	if err != nil {
		return err
	}
	if err := os.WriteFile(filepath.Join(root, carfolder.VehicleFile), b, 0o644); err != nil {
		return diag.Machine("", "%v", err)
	}
	return nil
}

// demoEnd writes the report, verifies the log, and says what to look at next.
func (a *app) demoEnd(ctx context.Context, dir string, quiet *app) error {
	report := filepath.Join(dir, "report.txt")
	if err := quiet.writeReport(ctx, wholeCar, reportFlags{text: report}); err != nil {
		return err
	}
	var b bytes.Buffer
	check := *quiet
	check.out, check.json = &b, true
	if err := check.verify(ctx, "", verifyFlags{}); err != nil {
		return fmt.Errorf("demo: the log does not verify: %s: %w", b.String(), err)
	}
	var doc verifyDocument
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		return err
	}
	later, err := time.Parse(time.RFC3339, demoClock)
	if err != nil {
		return err
	}
	a.printf("\nreport of the whole car: %s\nverified: %s, %s, %s on conduct\n", report,
		number(int(doc.Entries), "signed entry", "signed entries"), number(len(doc.Faults), "fault", "faults"), number(len(doc.Remarks), "remark", "remarks"))
	a.printf(`
Go on yourself (go build -o hvproof ./cmd/hvproof makes the program). It is
%s in the demo; its clock goes on with
  export HVPROOF_NOW=%s
  cd %s
and then, in that folder:
  hvproof ready                        may power come on; what is in the way
  hvproof report --html car.html       the car's report, which checks signatures
  hvproof bay                          the next steps on a page, for a tablet
  hvproof verify                       what is proven of the log; every remark
  hvproof log --part packs.left        everything about the left pack
  hvproof limits --explain isolation_whole   a limit, with the sum shown
  hvproof plan bonding                 whether the meters at hand can decide
  hvproof rework                       record work, see what it makes void
`, demoClock[:10], later.Add(time.Hour).Format(time.RFC3339), dir)
	return nil
}
