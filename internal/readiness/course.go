package readiness

import (
	"fmt"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A course is what one run has of its steps.
type course struct {
	m     *run.Machine
	steps []run.StepResult
	index map[string]int
	log   Log
}

func (j *judge) course(m *run.Machine) *course {
	c := j.courses[m]
	if c == nil {
		c = &course{m, m.Steps(), j.index(m.Plan()), j.log}
		j.courses[m] = c
	}
	return c
}

// establishes tells what a run establishes about an item of today's plan.
// tried is false where the run says nothing about it: it did not have its
// steps, did not reach them, or is not finished and has nothing against them.
//
// The item counts only if all steps of the run that stand in no loop or in
// the turns around it were accepted, too: among them are the lead checks, and
// the sign-out.
func (c *course) establishes(today *plan.Plan, q piece) (state State, reason string, tried bool) {
	has, answered, failed := false, 0, ""
	reserved := ""
	for _, i := range q.steps {
		at, ok := c.index[today.Steps[i].Path]
		if !ok {
			continue
		}
		s := &c.steps[at]
		has = has || s.Decision != run.NotApplicable
		answered += len(s.Attempts)
		if bad := c.against(s); bad != "" && failed == "" {
			failed = bad
		}
		if s.Decision == run.ConditionalPass {
			reserved = fmt.Sprintf("with a conditional pass at %s, which the procedure accepts", s.Step.Path)
		}
	}
	open := c.m.Outcome() == run.Open
	switch {
	case c.m.Broken() != nil && has:
		return Failed, fmt.Sprintf("the record of run %s contradicts itself: %v", c.m.ID(), c.m.Broken()), true
	case !has || answered == 0:
		return "", "", false
	case failed != "":
		return Failed, fmt.Sprintf("run %s: %s", c.m.ID(), failed), true
	case open:
		return "", "", false
	}
	if c.m.Outcome() != run.Passed {
		if bad := c.incomplete(today, q); bad != "" {
			return Failed, fmt.Sprintf("run %s: %s", c.m.ID(), bad), true
		}
	}
	return Holds, reserved, true
}

// against says what an answered step has against its item, or nothing.
func (c *course) against(s *run.StepResult) string {
	a := s.Last()
	switch {
	case a == nil || s.Decision == run.NotApplicable:
		return ""
	case s.Failed:
		return s.Step.Path + " failed"
	case s.Step.Kind != plan.Hold && !taken(s):
		return fmt.Sprintf("%s: %s", s.Step.Path, a.Decision)
	case len(a.Findings) > 0 && !c.log.Record.explained(c.m.ID(), a):
		return fmt.Sprintf("%s: a finding that nobody has explained: %s", s.Step.Path, a.Findings[0])
	}
	return ""
}

// incomplete says which step that the item rests on is not accepted.
func (c *course) incomplete(today *plan.Plan, q piece) string {
	for _, i := range q.rests {
		at, ok := c.index[today.Steps[i].Path]
		if !ok {
			continue // new since the run: that is changed's to say
		}
		s := &c.steps[at]
		if s.Decision != run.NotApplicable && !accepted(s) {
			return fmt.Sprintf("%s: %s", s.Step.Path, s.Decision)
		}
	}
	return ""
}

// accepted reports whether a step was answered as the plan asks, and
// witnessed where it asks for that.
func accepted(s *run.StepResult) bool {
	a := s.Last()
	return a != nil && !s.Failed && (!s.Step.Witness || a.Witness != "") && taken(s)
}

// taken reports whether the decision on the last answer is one to go on with.
func taken(s *run.StepResult) bool {
	switch s.Decision {
	case run.Pass, run.Done:
		return true
	case run.ConditionalPass:
		return s.Step.ConditionalPass
	}
	return false
}
