package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"hvproof/internal/carfolder"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// player plays the demo's story. Each chapter must end as the story says;
// anything else is a fault of the demo.
type player struct {
	s        *session
	out      io.Writer
	loaded   string
	folder   *carfolder.Folder
	chapters int
}

func (p *player) say(format string, args ...any) { fmt.Fprintf(p.out, format, args...) }

func (p *player) answers(name string) string { return filepath.Join(p.s.root, "answers", name) }

func (p *player) chapter(c chapter) error {
	if want := first(c.Vehicle, carfolder.VehicleFile); want != p.loaded {
		if err := useVehicle(p.s.root, want); err != nil {
			return err
		}
		var err error
		if p.folder, err = p.s.load(); err != nil {
			return err
		}
		p.loaded = want
	}
	switch {
	case c.Pass != "":
		p.say("\n%s\n%s\n", strings.ToUpper(c.Pass), c.Say)
		return nil
	case c.Work != "":
		return p.work(c)
	case c.Decide != "":
		return p.decide(c)
	case c.Permit != "":
		return p.permit(c.Permit, c.Answers, c.Say)
	case c.Walk.Len() > 0:
		return p.walk(c)
	case c.Ready != "":
		return p.ready(c)
	}
	return p.run(c)
}

func (p *player) run(c chapter) error {
	r, err := p.s.perform(p.folder, c.Procedure, runFlags{answers: p.answers(c.Answers), retest: c.Retest})
	if err != nil && err != errNo {
		return fmt.Errorf("demo, %s with %s: %w", c.Procedure, c.Answers, err)
	}
	got := run.Refusal
	if r.machine != nil {
		got = r.machine.Outcome()
	}
	p.chapters++
	only := ""
	if len(r.plan.Retest) > 0 {
		only = ", only " + strings.Join(r.plan.Retest, ", ")
		if r.plan.Retest[0] == "-" {
			only = ", only what stands in no loop"
		}
	}
	p.say("\n%2d  %s  (%s, stage %s%s)\n", p.chapters, r.plan.Title, c.Procedure, r.plan.Stage, only)
	if r.machine == nil {
		for _, why := range r.refused {
			p.say("      refused: %s\n", why)
		}
	} else {
		tellSteps(p.out, r.machine)
	}
	p.say("      %s. %s\n", strings.ToUpper(got), c.Say)
	if got != c.Outcome || r.machine != nil && !r.machine.Closed() {
		return fmt.Errorf("demo, %s with %s: %s, and the story says %s", c.Procedure, c.Answers, got, c.Outcome)
	}
	return nil
}

func (p *player) work(c chapter) error {
	d, err := p.s.recordWork(p.folder, p.answers(c.Work), "")
	if err != nil {
		return fmt.Errorf("demo, %s: %w", c.Work, err)
	}
	works := p.s.record.Works()
	p.say("\n    WORK  %s\n", works[len(works)-1].Text)
	for _, v := range d.Void {
		what := v.Proof
		if len(v.Parts) > 0 {
			what += " (" + strings.Join(v.Parts, ", ") + ")"
		}
		p.say("      void: %s: %s\n", what, v.Reason)
	}
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
			p.say("    DECIDED  %s %s: %s. Cause: %s\n", c.Decide, id, n.Decided.Kind, n.Decided.Cause)
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
		p.say("\n    PERMIT TO ENERGISE %d until the end of %s, signed by %s. %s\n", d.Entry, d.Until, strings.Join(d.Signers, " and "), say)
		return nil
	}
	p.say("\n    sanction for test %d: %s, until %s, signed by %s\n", d.Entry, what, d.Until, strings.Join(d.Signers, " and "))
	return nil
}

// walk runs what the rework rule asks for, until nothing is owed.
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
		again := chapter{Procedure: next.Plan.Procedure, Retest: true, Answers: answers.Text, Outcome: run.Passed, Say: "Asked for: " + next.Why}
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
	if doc.MayEnergise != (c.Ready == "yes") {
		return fmt.Errorf("demo: ready says %t, and the story says %s: %s", doc.MayEnergise, c.Ready, strings.Join(doc.Reasons, "; "))
	}
	return nil
}
