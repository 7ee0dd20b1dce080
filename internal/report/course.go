package report

import (
	"strconv"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A course is a run with its entries put in relation: which repetition led to
// which attempt, who confirmed which entry, which states were said for which
// step.
type course struct {
	*Source
	m     *run.Machine
	plan  *plan.Plan
	steps []run.StepResult

	at        map[int64]run.Event    // by index
	again     map[int64]run.Event    // by index of the attempt that an `again` entry led to
	confirmed map[int64][]run.Event  // witness, release: by index of the entry confirmed
	around    map[string][]run.Event // state and caution entries, by step path
	ended     map[string]run.Event   // step-end entries, by step path
	owed      map[int]run.Event      // steps that an `again` entry reopened and nobody has answered since
	loose     []run.Event            // what belongs to the run as a whole
	figures   map[int64]drawn        // by index of the answer, as far as they were drawn
}

func newCourse(m *run.Machine, src *Source) *course {
	c := &course{Source: src, m: m, plan: m.Plan(), steps: m.Steps(),
		at: map[int64]run.Event{}, again: map[int64]run.Event{}, confirmed: map[int64][]run.Event{},
		around: map[string][]run.Event{}, ended: map[string]run.Event{}, owed: map[int]run.Event{}, figures: map[int64]drawn{}}
	taken := map[int64]bool{}
	for i := range c.steps {
		for _, a := range c.steps[i].Attempts {
			taken[a.Index] = true
		}
	}
	for _, e := range m.Events() {
		c.at[e.Index] = e
		c.take(e, taken[e.Index])
	}
	return c
}

// take puts an entry where it belongs. An answer that the machine refused to
// take, since no run would have written it, is shown beside the steps.
func (c *course) take(e run.Event, taken bool) {
	switch e.Body.Kind {
	case entry.Reading, entry.Statement, entry.Computed, entry.Capture, entry.Wait, entry.Hold:
		if !taken {
			c.loose = append(c.loose, e)
			return
		}
		if i, ok := c.plan.Step(e.Body.Path); ok {
			if why, ok := c.owed[i]; ok {
				c.again[e.Index] = why
				delete(c.owed, i)
			}
		}
	case entry.Again:
		to, ok := c.plan.Step(e.Body.Path)
		from, known := c.plan.Step(e.Body.Text("reopen"))
		for i := from; ok && known && i <= to; i++ {
			if len(c.steps[i].Attempts) > 0 && c.steps[i].Attempts[0].Index < e.Index {
				c.owed[i] = e
			}
		}
	case entry.Witness, entry.Release, entry.Countersign:
		if of, err := strconv.ParseInt(e.Body.Text("entry"), 10, 64); err == nil {
			c.confirmed[of] = append(c.confirmed[of], e)
		}
	case entry.State, entry.Caution:
		c.around[e.Body.Path] = append(c.around[e.Body.Path], e)
	case entry.StepEnd:
		c.ended[e.Body.Path] = e
	default:
		c.loose = append(c.loose, e)
	}
}

// signed says who signed an entry, when, and which one it is.
func (c *course) signed(e run.Event) string {
	return c.who(e.Signer) + ", " + clock(e.Local()) + ", entry " + strconv.FormatInt(e.Index, 10)
}

// isAccepted reports whether a step needs nothing more.
func (c *course) isAccepted(i int) bool {
	r := c.steps[i]
	switch {
	case r.Decision == run.NotApplicable:
		return true
	case r.Failed || c.isOwed(i) || c.isUnwitnessed(i):
		return false
	case r.Decision == run.ConditionalPass:
		return r.Step.ConditionalPass
	}
	return r.Decision == run.Pass || r.Decision == run.Done
}

// isOwed reports whether a step was reopened and not answered since.
func (c *course) isOwed(i int) bool {
	_, ok := c.owed[i]
	return ok
}

// enough reports whether an answer needs no repeating.
func enough(s *plan.Step, a *run.Attempt) bool {
	return a.Decision == run.Pass || a.Decision == run.Done || a.Decision == run.ConditionalPass && s.ConditionalPass
}

// isUnwitnessed reports whether a step's last answer still wants the
// witness's signature.
func (c *course) isUnwitnessed(i int) bool {
	r := c.steps[i]
	a := r.Last()
	return r.Step.Witness && a != nil && a.Witness == "" && enough(r.Step, a)
}
