package main

import (
	"fmt"
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// tellRun tells what a run has shown: what is not as it should be, and the
// steps that the story wants to be seen.
func (p *player) tellRun(m *run.Machine, show []string) {
	quiet, read := 0, 0
	for _, s := range m.Steps() {
		for i := range s.Attempts {
			at := &s.Attempts[i]
			good := (at.Decision == run.Pass || at.Decision == run.Done) && len(at.Findings) == 0
			if good && !slices.Contains(show, s.Step.Path) {
				quiet++
				if at.HasValue {
					read++
				}
				continue
			}
			p.say("%s\n", wrapped("      ", fmt.Sprintf("%s: %s%s: %s", s.Step.Path, inWords(at, s.Step), limitOf(s.Step), strings.ToUpper(at.Decision))))
			for _, f := range at.Findings {
				p.say("%s\n", wrapped("        ! ", f))
			}
		}
	}
	among := ""
	if read > 0 {
		among = ", " + number(read, "reading", "readings") + " among them"
	}
	p.say("      %s as they should be%s\n", number(quiet, "step", "steps"), among)
}

// inWords gives what was answered, as one says it.
func inWords(at *run.Attempt, s *plan.Step) string {
	return strings.ReplaceAll(at.Said(s), "..", " to ")
}

// limitOf gives the first governing limit of a step.
func limitOf(s *plan.Step) string {
	if s.Kind == plan.Capture {
		return "" // each of its numbers has its own; what is wrong is said
	}
	for _, b := range s.Limits() {
		return ", " + b.Bound.String()
	}
	return ""
}

// blank is a place in a sentence of the story that the log fills.
var blank = regexp.MustCompile(`\{[^{}]+\}`)

// found takes a fault that a run has found into the list. Its sentence is the
// story's, what stands in braces is the log's: a step gives what was read there,
// in this run or in the newest of a procedure that is named before it; `refused`
// why the run was refused, `leak` and `unmeasured` what the isolation of the
// whole tells, `falling` a reading that falls. At least one of them must be
// evidence of a fault: the story cannot say what the log does not.
func (p *player) found(sentence string, r performance) error {
	evidence := false
	var missing []string
	text := blank.ReplaceAllStringFunc(sentence, func(b string) string {
		said, bad := p.fill(strings.Trim(b, "{}"), r)
		if said == "" {
			missing = append(missing, b)
		}
		evidence = evidence || bad
		return said
	})
	switch {
	case missing != nil:
		return fmt.Errorf("demo, %s: the log has nothing for %s of %q", r.plan.Procedure, strings.Join(missing, ", "), sentence)
	case !evidence:
		return fmt.Errorf("demo, %s: nothing in the log is evidence for %q", r.plan.Procedure, sentence)
	}
	p.faults = append(p.faults, text)
	p.say("\n%s\n", wrapped(fmt.Sprintf("    FAULT %d  ", len(p.faults)), text))
	return nil
}

// fill gives what a blank stands for, and whether that is evidence of a fault.
func (p *player) fill(name string, r performance) (said string, evidence bool) {
	if r.machine == nil {
		if name != "refused" || len(r.refused) == 0 {
			return "", false
		}
		_, why, _ := strings.Cut(r.refused[0], ": ") // the step is in the way of a sentence
		return why, true
	}
	switch name {
	case "leak", "unmeasured":
		code := map[string]string{"leak": readiness.UnexplainedLeakage, "unmeasured": readiness.PartNotMeasured}[name]
		for _, s := range r.machine.Steps() {
			for _, f := range findings(&s) {
				if after, ok := strings.CutPrefix(f, code+": "); ok {
					return after, true
				}
			}
		}
		return "", false
	case "falling":
		var out []string
		for _, t := range readiness.Trends(p.s.facts()) {
			if f, ok := t.Falls(); ok {
				out = append(out, f.Sentence())
			}
		}
		return strings.Join(out, "; "), len(out) > 0
	}
	m := r.machine
	if procedure, path, ok := strings.Cut(name, " "); ok {
		if m = p.newest(procedure); m == nil {
			return "", false
		}
		name = path
	}
	for _, s := range m.Steps() {
		if at := s.Last(); at != nil && s.Step.Path == name {
			text := inWords(at, s.Step)
			if after, ok := strings.CutPrefix(text, "by hand: "); ok {
				_, text, _ = strings.Cut(after, " ") // without the feature's name
			} else if _, numbers, ok := strings.Cut(text, ", "); ok && s.Step.Kind == plan.Capture {
				text = numbers // without the file's name
			}
			return text, at.Decision != run.Pass && at.Decision != run.Done || len(at.Findings) > 0
		}
	}
	return "", false
}

// tellFaults gives every fault found so far, one sentence each.
func (p *player) tellFaults(want string) error {
	p.say("\nWhat the tests have found, %s:\n", number(len(p.faults), "fault", "faults"))
	for i, f := range p.faults {
		p.say("%s\n", wrapped(fmt.Sprintf(" %d. ", i+1), f))
	}
	if fmt.Sprint(len(p.faults)) != want {
		return fmt.Errorf("demo: %d faults were found, and the story says %s", len(p.faults), want)
	}
	return nil
}

// newest gives the newest run of a procedure, nil if there is none.
func (p *player) newest(procedure string) *run.Machine {
	for _, m := range slices.Backward(p.s.history.Runs()) {
		if m.Plan().Procedure == procedure {
			return m
		}
	}
	return nil
}

// findings gives those of a step's last attempt.
func findings(s *run.StepResult) []string {
	if at := s.Last(); at != nil {
		return at.Findings
	}
	return nil
}
