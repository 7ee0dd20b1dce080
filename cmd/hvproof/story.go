package main

import (
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"strings"
	"time"

	"hvproof/internal/carfolder"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// player plays the demo's story. Each chapter must end as the story says;
// anything else is a fault of the demo.
type player struct {
	s        *session
	out      io.Writer
	files    fs.FS // the story's
	folder   *carfolder.Folder
	chapters int
	faults   []string // found so far, one sentence each
}

func (p *player) say(format string, args ...any) { fmt.Fprintf(p.out, format, args...) }

func (p *player) answers(name string) string { return filepath.Join(p.s.root, "answers", name) }

func (p *player) chapter(c chapter) error {
	switch {
	case c.Pass != "":
		p.say("\n%s\n%s\n%s\n", strings.ToUpper(c.Pass), strings.Repeat("=", len(c.Pass)), wrapped("", c.Say))
		return nil
	case c.Vehicle != "":
		return p.vehicle(c)
	case c.Plan != "":
		return p.plan(c)
	case c.Work != "":
		return p.work(c)
	case c.Decide != "":
		return p.decide(c)
	case c.Baseline != "":
		return p.baseline(c)
	case c.Permit != "":
		return p.permit(c.Permit, c.Answers, c.Say)
	case c.Walk.Len() > 0:
		return p.walk(c)
	case c.Faults != "":
		return p.tellFaults(c.Faults)
	case c.Ready != "":
		return p.ready(c)
	}
	return p.run(c)
}

// vehicle puts another state of the car's file in place.
func (p *player) vehicle(c chapter) error {
	err := useVehicle(p.s.root, p.files, c.Vehicle)
	if err == nil {
		p.folder, err = p.s.load()
	}
	if err == nil && c.Say != "" {
		p.say("\n%s\n", wrapped("    VEHICLE FILE  ", c.Say))
	}
	return err
}

// plan looks at the meters for a procedure, before anybody dresses up.
func (p *player) plan(c chapter) error {
	made, err := p.folder.Plan(c.Plan, true)
	if err != nil {
		return err
	}
	meters, _ := meterOutlook(p.folder, made, p.s.now().Format(time.DateOnly))
	p.say("\n$ hvproof plan %s     (its meters)\n", c.Plan)
	for _, m := range meters {
		can := "can decide"
		if !m.Usable {
			can = "CANNOT COUNT"
		}
		p.say("  %-16s %-10s %s\n", m.Role, m.Instrument, can)
		for _, x := range append(m.Problems, m.Notes...) {
			p.say("%s\n", wrapped("      ", x))
		}
	}
	return nil
}

func (p *player) run(c chapter) error {
	r, err := p.s.perform(p.folder, c.Procedure, runFlags{answers: p.answers(c.Answers), retest: c.Retest})
	if err != nil && err != errNo {
		at := ""
		if r.machine != nil {
			at = "stopped at " + r.machine.Next().Key
		}
		return fmt.Errorf("demo, %s with %s: %s%w", c.Procedure, c.Answers, at, err)
	}
	got := run.Refusal
	if r.machine != nil {
		got = r.machine.Outcome()
	}
	p.chapters++
	p.say("\n%s\n", wrapped(fmt.Sprintf("%2d  ", p.chapters), fmt.Sprintf("%s (%s, stage %s): %s", r.plan.Title, c.Procedure, r.plan.Stage, strings.ToUpper(got))))
	if only := onlyItems(r.plan.Retest); only != "" {
		p.say("%s\n", wrapped("      only ", only))
	}
	if c.Say != "" {
		p.say("%s\n", wrapped("      ", c.Say))
	}
	if r.machine == nil {
		for _, why := range r.refused {
			p.say("%s\n", wrapped("      refused: ", why))
		}
	} else {
		p.tellRun(r.machine, c.Show)
	}
	if got != c.Outcome || r.machine != nil && !r.machine.Closed() {
		return fmt.Errorf("demo, %s with %s: %s, and the story says %s", c.Procedure, c.Answers, got, c.Outcome)
	}
	if c.Fault != "" {
		return p.found(c.Fault, r)
	}
	return nil
}

// onlyItems says what a retest is cut down to.
func onlyItems(items []string) string {
	if len(items) == 1 && items[0] == "-" {
		return "what stands in no loop"
	}
	return strings.Join(items, ", ")
}

func (p *player) work(c chapter) error {
	d, err := p.s.recordWork(p.folder, p.answers(c.Work), "")
	if err != nil {
		return fmt.Errorf("demo, %s: %w", c.Work, err)
	}
	works := p.s.record.Works()
	p.say("\n%s\n", wrapped("    WORK  ", works[len(works)-1].Text))
	var void []string
	for _, v := range d.Void {
		what := v.Proof
		if len(v.Parts) > 0 {
			what += " (" + strings.Join(v.Parts, " ") + ")"
		}
		void = append(void, what)
	}
	p.say("%s\n", wrapped("      void by it: ", strings.Join(void, ", ")))
	return nil
}

func (p *player) decide(c chapter) error {
	id := ""
	for _, n := range readiness.Nonconformances(p.s.facts()) {
		if n.Procedure == c.Decide {
			id = n.ID()
		}
	}
	file, err := p.s.answersFor(p.answers(c.Answers))
	if err != nil {
		return err
	}
	if err := p.s.itemDecide(id, file, ""); err != nil {
		return fmt.Errorf("demo, %s: %w", c.Answers, err)
	}
	for _, n := range readiness.Nonconformances(p.s.facts()) {
		if n.ID() == id {
			p.say("\n%s\n", wrapped("    DECIDED  ", fmt.Sprintf("%s of %s: %s. Cause: %s", id, c.Decide, n.Decided.Kind, n.Decided.Cause)))
		}
	}
	return nil
}

func (p *player) permit(what, answers, say string) error {
	procedure := what
	if what == "energise" {
		procedure = ""
	}
	why, g, err := p.s.grant(procedure, permitFlags{answers: p.answers(answers)})
	if err != nil {
		return fmt.Errorf("demo, permit %s: %w", what, err)
	}
	if g == nil {
		return fmt.Errorf("demo, permit %s is refused: %s", what, strings.Join(why, "; "))
	}
	d := p.s.grantJSON(g)
	if g.Permit {
		p.say("\n%s\n", wrapped("    PERMIT TO ENERGISE  ", fmt.Sprintf("until the end of %s, signed by %s. %s", d.Until, strings.Join(d.Signers, " and "), say)))
		return nil
	}
	_, clock, _ := strings.Cut(d.Until, " ")
	p.say("\n    SANCTION FOR TEST  %s, until %s, by %s\n", what, clock, strings.Join(d.Signers, " and "))
	return nil
}

// walk runs what the retest plan asks for, as far as it has readings.
func (p *player) walk(c chapter) error {
	for range 100 {
		proofs := readiness.Proofs(p.s.facts(), p.folder.Requirements(true), p.s.now())
		steps, _ := readiness.RetestPlan(proofs)
		if len(steps) == 0 {
			return nil
		}
		next := steps[0]
		answers, ok := c.Walk.Get(next.Plan.Procedure)
		if !ok {
			return nil // the story goes on itself
		}
		if next.Plan.Live && p.s.record.Sanctioned(next.Plan.Procedure, next.Plan.Stage, nil, p.s.now()) != "" {
			if err := p.permit(next.Plan.Procedure, c.Answers, ""); err != nil {
				return err
			}
		}
		why := next.Why
		if why == "hvproof run "+next.Plan.Procedure {
			why = "it was never done"
		}
		again := chapter{Procedure: next.Plan.Procedure, Retest: true, Answers: answers.Text, Outcome: run.Passed, Say: "asked for: " + why}
		if err := p.run(again); err != nil {
			return err
		}
	}
	return fmt.Errorf("demo: the retest plan does not end")
}

func (p *player) ready(c chapter) error {
	proofs := readiness.Proofs(p.s.facts(), p.folder.Requirements(true), p.s.now())
	doc := p.s.readyJSON(proofs, p.s.unready(p.folder, proofs))
	p.say("\n$ hvproof ready\n")
	show := *p.s.app
	show.out = p.out
	s := *p.s
	s.app = &show
	s.printReady(doc, false)
	p.say("exit status %s\n", map[bool]string{true: "0: power may come on", false: "1: it may not"}[doc.MayEnergise])
	if doc.MayEnergise != (c.Ready == "yes") {
		return fmt.Errorf("demo: ready says %t, and the story says %s: %s", doc.MayEnergise, c.Ready, strings.Join(doc.Reasons, "; "))
	}
	return nil
}

// baseline names the commissioning runs so far.
func (p *player) baseline(c chapter) error {
	b, err := p.s.recordBaseline(nil, p.answers(c.Baseline), "")
	if err != nil {
		return fmt.Errorf("demo, %s: %w", c.Baseline, err)
	}
	p.say("\n%s\n", wrapped("    BASELINE  ", fmt.Sprintf("%s, signed by %s and %s. %s", number(len(b.Runs), "run", "runs"), b.Signer, b.Second, c.Say)))
	return nil
}
