package report

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// step gives a step with all that was asked and answered.
func (c *course) step(i, number, total int) Step {
	r := c.steps[i]
	s := r.Step
	out := Step{Path: s.Path, Text: s.Text, Decision: c.verdict(i)}
	out.Number = fmt.Sprintf("%d of %d", number, total)
	out.Facts = c.asked(s)
	for n := range r.Attempts {
		out.Attempts = append(out.Attempts, c.attempt(i, n))
	}
	if e, ok := c.ended[s.Path]; ok {
		out.End.add("Left failed", sentence(e.Body.Text("reason"), "no reason was given"), c.signed(e))
	}
	if why, ok := c.owed[i]; ok {
		out.End.add("To be repeated", because(why), c.signed(why))
	}
	return out
}

// verdict words the state of a step so that nothing looks done that is not.
func (c *course) verdict(i int) string {
	r := c.steps[i]
	word := strings.ToUpper(r.Decision)
	switch {
	case c.isOwed(i):
		return "TO BE REPEATED"
	case c.isUnwitnessed(i):
		return word + ", NOT WITNESSED"
	}
	return word
}

// asked gives what the plan asks of a step.
func (c *course) asked(s *plan.Step) Facts {
	var f Facts
	f.add("Purpose", s.Purpose)
	f.add("Part", strings.Join(s.Parts, ", "))
	for _, e := range c.around[s.Path] {
		switch e.Body.Kind {
		case entry.State:
			f.add("State said", fmt.Sprintf("%q", e.Body.Text("text")), c.signed(e))
		case entry.Caution:
			f.add("Cautions", strings.Join(e.Body.Family("caution"), ", ")+": "+e.Body.Text("text"), c.signed(e))
		}
	}
	var how []string
	if s.Method != "" {
		how = append(how, s.Method)
	}
	if s.Stimulus != "" {
		how = append(how, "test "+s.Stimulus)
	}
	f.add("Method", strings.Join(how, ", "))
	switch s.LeadCheck {
	case plan.Before:
		f.add("Lead check", "before the measurements that follow")
	case plan.After:
		f.add("Lead check", "after the measurements")
	}
	if s.Kind == plan.Wait {
		f.add("To wait", span(s.Seconds, s.Seconds, secondsDim))
	}
	f = append(f, limitFacts(s)...)
	if !slices.ContainsFunc(s.Bounds, func(b plan.Bound) bool { return b.Governs && b.Source == s.Source }) {
		f.add("Source", s.Source)
	}
	if s.IfFailed == plan.Note {
		f.add("If it fails", "the run goes on, and has failed all the same")
	}
	if s.ConditionalPass {
		f.add("Accepted", "a conditional pass is accepted here by the procedure")
	}
	return f
}

// because gives the reason of an `again` entry.
func because(e run.Event) string {
	out := "repeated because: " + sentence(e.Body.Text("reason"), "no reason was given")
	if cause := e.Body.Text("cause"); cause != "" {
		out += "; thought to be caused by: " + cause
	}
	return out
}

// sentence gives text, or what stands for it where there is none.
func sentence(text, otherwise string) string {
	if strings.TrimSpace(text) == "" {
		return otherwise
	}
	return text
}
