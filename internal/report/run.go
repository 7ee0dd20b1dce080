package report

import (
	"fmt"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// Run makes the report of one run.
func Run(m *run.Machine, src Source) *Report {
	c := newCourse(m, &src)
	p := m.Plan()
	summary := Part{Title: "Summary", Sections: []Section{
		{Title: "Result", Blocks: []Block{c.result(), Paragraph(src.remarkCount(m.ID()))}},
	}}
	summary.Sections = append(summary.Sections, src.pageOne()...)
	summary.Sections = append(summary.Sections, c.look(), src.remarkSection(m.ID()), src.openSection(), c.work())
	return &Report{
		Title:   "Test report: " + p.Title,
		Subject: fmt.Sprintf("%s, run %s", src.car(), m.ID()),
		Mark:    src.mark(m.Start().Practice || p.Practice, m.Start().Rehearsal),
		Parts: []Part{summary,
			{Title: "Run", Sections: append(c.sections(), c.fileSection())},
			{Title: "Record", Sections: []Section{decided(m), src.keys(), src.proof(), cautions(), end()}}},
	}
}

// sections gives the body of a run.
func (c *course) sections() []Section {
	steps, signOut := Section{Title: "Steps"}, Section{Title: "Sign-out"}
	var undone, idle [][]string
	number, total := 0, 0
	for i := range c.steps {
		if c.steps[i].Step.NotApplicable == "" {
			total++
		}
	}
	for i := range c.steps {
		s := c.steps[i].Step
		if s.NotApplicable != "" {
			idle = append(idle, []string{s.Path, s.NotApplicable})
			continue
		}
		number++
		switch {
		case len(c.steps[i].Attempts) == 0 && len(c.around[s.Path]) == 0:
			undone = append(undone, []string{s.Path, s.Text})
		case i >= c.plan.SignOut:
			signOut.Blocks = append(signOut.Blocks, c.step(i, number, total))
		default:
			steps.Blocks = append(steps.Blocks, c.step(i, number, total))
		}
	}
	if len(steps.Blocks) == 0 {
		steps.Blocks = []Block{Paragraph("None was answered.")}
	}
	signOut.Blocks = append(signOut.Blocks, Paragraph("The run is "+c.signOut()+"."))
	out := []Section{c.values(), c.conditions(), c.instruments(), steps, signOut}
	if len(undone) > 0 {
		out = append(out, Section{Title: "Steps not done", Blocks: []Block{Table{Head: []string{"step", "what was to be done"}, Rows: undone}}})
	}
	if len(idle) > 0 {
		out = append(out, Section{Title: "Steps that do not apply to this car", Blocks: []Block{Table{Head: []string{"step", "not applicable because"}, Rows: idle}}})
	}
	return append(out, c.courseSection(), c.covers())
}

// values lists every value at a glance: the last of each step.
func (c *course) values() Section {
	var rows [][]string
	for i := range c.steps {
		r := &c.steps[i]
		a := r.Last()
		if a == nil || a.Body.Kind != entry.Reading && a.Body.Kind != entry.Computed && a.Body.Kind != entry.Capture {
			continue
		}
		which := briefly(r.Step, a)
		if n := len(r.Attempts); n > 1 {
			which += fmt.Sprintf(" (%s of %d)", ordinal(n), n)
		}
		rows = append(rows, []string{r.Step.Path, which, sentence(strings.TrimPrefix(against(r.Step), ", "), "no limit"), c.verdict(i)})
	}
	s := Section{Title: "Values at a glance"}
	if len(rows) == 0 {
		s.Blocks = []Block{Paragraph("No value was measured or computed.")}
		return s
	}
	s.Blocks = []Block{Table{Head: []string{"step", "value", "limit, or what is expected", "decision"}, Rows: rows}}
	return s
}

// done counts the steps that met what was asked.
func (c *course) done() (done, total int) {
	for i := range c.steps {
		if c.steps[i].Step.NotApplicable == "" {
			total++
			if c.isAccepted(i) {
				done++
			}
		}
	}
	return done, total
}

func (c *course) count() string {
	done, total := c.done()
	return fmt.Sprintf("%d of %s", done, plural(total, "step"))
}

// result gives the answer of a run in a word and a sentence. A run that the
// record does not bear out never reads as passed.
func (c *course) result() Result {
	m := c.m
	done, total := c.done()
	count := c.count() + " met what was asked"
	switch {
	case len(c.Faults) > 0:
		return Result{"DOES NOT VERIFY", fmt.Sprintf("The log has %s of integrity: nothing below can be relied on. The run's entries say: %s.",
			plural(len(c.Faults), "fault"), sentence(m.Outcome(), "not finished"))}
	case m.Broken() != nil:
		return Result{"CONTRADICTS ITSELF", "The run holds an entry that no run would have written: it proves nothing. " + m.Broken().Error() + "."}
	case m.Outcome() == run.Open && m.Abandoned():
		return Result{"ABANDONED", "A later run replaced it before it ended; " + count + "."}
	case m.Outcome() == run.Open:
		return Result{"NOT FINISHED", fmt.Sprintf("It waits at %s; %s.", sentence(m.Next().Key, "its end"), count)}
	case m.Outcome() == run.Passed:
		return c.passed(count, done == total)
	}
	return Result{strings.ToUpper(m.Outcome()), fmt.Sprintf("%s; %s.", sentence(m.Reason(), "no reason recorded"), count)}
}

func (c *course) passed(count string, all bool) Result {
	state, reason := readiness.Establishes(c.m)
	switch {
	case !all:
		return Result{"CONTRADICTS ITSELF", "The run's end says passed, and " + count + "."}
	case state != readiness.Holds:
		return Result{"PASSED, BUT PROVES NOTHING", fmt.Sprintf("%s; %s.", count, reason)}
	case reason != "":
		return Result{"PASSED, CONDITIONALLY", fmt.Sprintf("%s, %s.", count, reason)}
	}
	return Result{"PASSED", fmt.Sprintf("%s, in the states and at the times below.", count)}
}
