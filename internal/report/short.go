package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// Short makes the short form of the report of the whole car: page one as that
// of Car, then each proof with the values that it rests on instead of each run
// with everything that was said in it. What stands against a run is in it in
// full: nothing that a reader needs to distrust the record is left out.
func Short(l readiness.Log, proofs []readiness.Proof, reasons []string, src Source) *Report {
	runs := rested(l.Runs, proofs)
	summary, practice := src.carSummary(runs, proofs, reasons, leavesOut)
	s := shortForm{Source: &src, log: l, courses: map[string]*course{}, shown: map[string]string{}}
	by := Part{Title: "Proof by proof", Sections: []Section{{Title: "How to read it", Blocks: []Block{howToRead}}}}
	for _, p := range proofs {
		if p.Required || p.Run != "" { // of the others nothing was tried, and the list above says so
			by.Sections = append(by.Sections, s.proof(p))
		}
	}
	record := Part{Title: "Work, permits, and the record", Sections: []Section{s.works(), s.nonconformances(), s.closings(), s.grants(),
		s.limitList(), meterTable(runs), fileTable(runs), decided(runs...), src.keys(), src.proof(), cautions(), end()}}
	return &Report{
		Title:   "Test report, short form: state of the whole car",
		Subject: src.car(),
		Mark:    src.mark(practice, false),
		Parts:   []Part{summary, by, record},
	}
}

// leavesOut stands on page one of the short form.
const leavesOut = Paragraph("This is the SHORT FORM. It has every value that a proof rests on, every attempt at it, and everything that stands against a run. " +
	"It leaves out: steps at which nothing was measured, unless they are about a part or stand against a run (the others are counted); " +
	"how each limit follows from the car's data; values computed, and numbers of waveforms, without a limit; drawings; the state of the car at each step; " +
	"who signed each answer, and when; runs that no proof rests on, but for their outcome. The whole report has all that: hvproof report. " +
	"Whether the record is sound only the record itself can tell: hvproof verify.")

const howToRead = Paragraph("Nothing against it: no step of the run failed, was repeated, passed conditionally, was asked back or entered later; it was not interrupted, and " +
	"its files are as shipped. The digits behind file and plan begin the SHA-256 of the procedure's file and of the plan that the run froze. A number " +
	"in square brackets leads to where the limit comes from, at the end. An entry is printed as it was signed by hvproof log --note.")

// A shortForm is what the sections by proof share.
type shortForm struct {
	*Source
	log     readiness.Log
	courses map[string]*course
	limits  []string          // where limits come from, by their numbers
	shown   map[string]string // runs with what was shown of them, the proof that it stands under
}

// course gives a run's, nil where the record does not have the run.
func (s *shortForm) course(id string) *course {
	c := s.courses[id]
	if c == nil {
		m := s.log.Runs.Run(id)
		if m == nil {
			return nil
		}
		c = newCourse(m, s.Source)
		s.courses[id] = c
	}
	return c
}

// proof gives the state of a proof, and the runs with the values that it rests on.
func (s *shortForm) proof(p readiness.Proof) Section {
	title := fmt.Sprintf("Stage %s, %s: %s", sentence(p.Stage, "not known"), p.Proof, p.State)
	if !p.Until.IsZero() {
		title += " until " + p.Until.Format(time.DateOnly)
	}
	var f Facts
	var out Section
	switch {
	case p.State == readiness.NotApplicable:
		f.add("Because", p.Reason)
	case p.OK():
		if p.Reason != "" {
			title += ", WITH A RESERVE"
		}
		f.add("Reserve", p.Reason)
	default:
		out.Blocks = append(out.Blocks, Result{strings.ToUpper(string(p.State)), sentence(p.Reason, "no reason is known") + "."})
		for _, i := range p.Items {
			if i.State != readiness.Holds && (len(p.Items) > 1 || i.Reason != p.Reason) {
				f.add("Owed", fmt.Sprintf("%s: %s, %s", itemName(i.Item), i.State, sentence(i.Reason, "no reason is known")))
			}
		}
	}
	out.Title = title
	if !p.Required {
		f.add("Required", "no: power may come on without it")
	}
	f.add("Is about", families(p.Parts()))
	f.add("Runs so far", strings.Join(s.runsSoFar(p), "; "))
	f = gathered(f)
	for _, id := range restsOn(p) {
		out.Blocks, f = append(out.Blocks, s.run(p, id, f)...), nil
	}
	if len(f) > 0 {
		out.Blocks = append(out.Blocks, f)
	}
	return out
}

// gathered puts facts of the same name together.
func gathered(f Facts) Facts {
	var out Facts
	for _, x := range f {
		if n := len(out); n > 0 && out[n-1].Name == x.Name {
			out[n-1].Values = append(out[n-1].Values, x.Values...)
			continue
		}
		out = append(out, x)
	}
	return out
}

// families gives parts with what they have in common said once.
func families(parts []string) string {
	var out []string
	const plain = "." // no family
	last := ""
	for _, p := range parts {
		family, name, ok := p, "", false
		if n := strings.LastIndex(p, "."); n > 0 {
			family, name, ok = p[:n], p[n+1:], true
		}
		if ok && family == last {
			out[len(out)-1] += ", " + name
			continue
		}
		switch {
		case ok:
			p = family + ": " + name
		case len(out) > 0 && last == plain:
			out[len(out)-1] += ", " + p
			continue
		default:
			family = plain
		}
		last, out = family, append(out, p)
	}
	return strings.Join(out, "; ")
}

func itemName(item string) string { return sentence(item, "what stands in no loop") }

// runsSoFar gives every run that was to prove it, with its outcome, those that
// came to nothing among them. One that is all there is needs no list.
func (s *shortForm) runsSoFar(p readiness.Proof) []string {
	var out []string
	for _, m := range s.log.Runs.Runs() {
		if !slices.Contains(provenBy(m), p.Proof) {
			continue
		}
		said := fmt.Sprintf("%s of %s: ", m.ID(), m.Start().Date)
		switch {
		case m.Broken() != nil:
			said += "contradicts itself"
		case m.Outcome() == run.Open && m.Abandoned():
			said += "abandoned"
		case m.Outcome() == run.Open:
			said += "not finished"
		default:
			said += strings.TrimSpace(m.Outcome() + " " + inBrackets(m.Reason()))
		}
		if m.Start().Rehearsal {
			said += ", a rehearsal"
		}
		if n := len(m.Plan().Retest); n > 0 {
			said += ", a retest of " + plural(n, "item")
		}
		out = append(out, said)
	}
	if len(out) == 1 && p.OK() {
		return nil
	}
	return out
}

func inBrackets(s string) string {
	if s == "" {
		return ""
	}
	return "(" + s + ")"
}

func provenBy(m *run.Machine) []string {
	var out []string
	for _, p := range m.Plan().Proves {
		out = append(out, p.ID)
	}
	return out
}

// restsOn gives the runs of a proof's items, the newest that it rests on first.
func restsOn(p readiness.Proof) []string {
	var out []string
	for _, id := range append([]string{p.Run}, itemRuns(p)...) {
		if id != "" && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

func itemRuns(p readiness.Proof) []string {
	var out []string
	for _, i := range p.Items {
		out = append(out, i.Run)
	}
	return out
}
