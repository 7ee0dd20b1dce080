package report

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// look gives what a reader should look at first, gathered from the run's own
// entries: everything that is not a plain pass at the first reading.
func (c *course) look() Section {
	var f Facts
	f.add("Unfinished", c.unfinished()...)
	f.add("Failed", c.each(func(r *run.StepResult, _ int) string {
		switch a := r.Last(); {
		case r.Failed && a != nil:
			return fmt.Sprintf("%s: %s, %s%s", r.Step.Path, strings.ToUpper(r.Decision), briefly(r.Step, a), against(r.Step))
		case r.Failed:
			return r.Step.Path + ": left failed"
		}
		return ""
	})...)
	f.add("Open", c.each(func(r *run.StepResult, i int) string {
		if a := r.Last(); a != nil && !r.Failed && !c.isAccepted(i) && a.Body.Kind != entry.Hold {
			return r.Step.Path + ": " + c.verdict(i)
		}
		return ""
	})...)
	f.add("Repeated", c.each(func(r *run.StepResult, _ int) string {
		if len(r.Attempts) < 2 {
			return ""
		}
		var all []string
		for n := range r.Attempts {
			all = append(all, briefly(r.Step, &r.Attempts[n])+" "+r.Attempts[n].Decision)
		}
		return r.Step.Path + ": " + strings.Join(all, ", then ")
	})...)
	f.add("Conditional", c.each(func(r *run.StepResult, _ int) string {
		if r.Decision != run.ConditionalPass || r.Failed {
			return ""
		}
		return fmt.Sprintf("%s: %s%s, met by less than U", r.Step.Path, briefly(r.Step, r.Last()), against(r.Step))
	})...)
	f.add("Findings", c.m.Findings()...)
	f.add("Waveforms", c.undrawn()...)
	f.add("Asked back", c.attempts(func(a *run.Attempt) bool { return a.Body.Text("confirmed") != "" })...)
	f.add("From paper", c.attempts(func(a *run.Attempt) bool { return a.Body.Text("read-at") != "" })...)
	f.add("Interrupted", c.interruptions()...)
	if !c.hasValue() {
		f.add("No value", "no step of this run gave a measured or computed value: it rests on what was said")
	}
	f.add("Not shipped", c.deviations()...)
	s := Section{Title: "What needs a look"}
	if len(f) == 0 {
		s.Blocks = append(s.Blocks, Paragraph("By the run's own entries nothing: no step failed, was repeated, passed conditionally, "+
			"was asked back or entered later; the run was not interrupted; all its files are as shipped."))
		return s
	}
	s.Blocks = append(s.Blocks, f)
	return s
}

// hasValue reports whether anything was measured or computed.
func (c *course) hasValue() bool {
	return len(c.attempts(func(a *run.Attempt) bool {
		return a.Body.Kind == entry.Reading && a.HasValue || a.Body.Kind == entry.Computed || a.Body.Kind == entry.Capture
	})) > 0
}

func (c *course) unfinished() []string {
	var out []string
	m := c.m
	if err := m.Broken(); err != nil {
		out = append(out, "the record contradicts itself: "+err.Error())
	}
	if !m.Closed() {
		out = append(out, c.signOut())
	}
	if m.Abandoned() {
		out = append(out, "a later run replaced it before it ended")
	}
	if old := m.Start().Abandons; old != "" {
		out = append(out, "it replaces run "+old+", which was not finished")
	}
	return out
}

// signOut says whether the run was closed.
func (c *course) signOut() string {
	if !c.m.Closed() {
		if c.m.Outcome() == run.Failed {
			return "NOT CLOSED: the run has failed, and its sign-out is owed"
		}
		return "NOT CLOSED: the run has not ended"
	}
	for _, e := range slices.Backward(c.m.Events()) {
		if e.Body.Kind == entry.RunEnd {
			return "closed, " + c.signed(e)
		}
	}
	return "closed"
}

// each gathers a sentence for each step that has one.
func (c *course) each(say func(r *run.StepResult, i int) string) []string {
	var out []string
	for i := range c.steps {
		if s := say(&c.steps[i], i); s != "" {
			out = append(out, s)
		}
	}
	return out
}

// attempts gathers the answers of which something is true.
func (c *course) attempts(is func(*run.Attempt) bool) []string {
	var out []string
	for i := range c.steps {
		r := &c.steps[i]
		for n := range r.Attempts {
			if a := &r.Attempts[n]; is(a) {
				out = append(out, fmt.Sprintf("%s: %s, entry %d", r.Step.Path, briefly(r.Step, a), a.Index))
			}
		}
	}
	return out
}

func (c *course) interruptions() []string {
	var out []string
	for _, e := range c.loose {
		switch e.Body.Kind {
		case entry.MakeSafe:
			out = append(out, strings.Join(words("made safe", e.Body.Text("reason"), e.Body.Text("text")), ": ")+", "+c.signed(e))
		case entry.Left:
			out = append(out, strings.Join(words("left, to be resumed", e.Body.Text("reason")), ": ")+", "+c.signed(e))
		}
	}
	return out
}

// deviations names the files that are not as they came with the program.
func (c *course) deviations() []string {
	changed, own := c.files(plan.Changed), c.files(plan.Own)
	var out []string
	if len(changed) > 0 {
		out = append(out, fmt.Sprintf("%s changed by the shop: %s", plural(len(changed), "file"), strings.Join(changed, ", ")))
	}
	if len(own) > 0 {
		out = append(out, fmt.Sprintf("%s of the shop's own: %s", plural(len(own), "file"), strings.Join(own, ", ")))
	}
	return out
}

func (c *course) files(origin string) []string {
	var out []string
	for _, f := range c.plan.Files {
		if f.Origin == origin && !describesTheCar(f.Name) {
			out = append(out, f.Name)
		}
	}
	return out
}

// describesTheCar tells the files that are every car's own by nature.
func describesTheCar(name string) bool {
	return name == "vehicle.yaml" || name == "people.yaml" || name == "instruments.yaml"
}

// briefly gives an answer in a few words.
func briefly(s *plan.Step, a *run.Attempt) string {
	switch {
	case a.HasValue:
		return reading(s, a)
	case a.Body.Kind == entry.Capture:
		return a.Said(s)
	case a.Body.Kind == entry.Computed:
		lo, has := a.Body.Number("low")
		hi, both := a.Body.Number("high")
		if has && both {
			return span(lo, hi, s.Dim)
		}
		return "no value"
	}
	return fmt.Sprintf("%q", a.Body.Text("text"))
}

// against gives what a value is judged by, after a comma; nothing for words.
func against(s *plan.Step) string {
	out := ""
	for _, b := range s.Limits() {
		out += ", " + of(&b) + b.Bound.String()
	}
	if out == "" && s.Expect != "" {
		out = fmt.Sprintf(", wanted %q", s.Expect)
	}
	if out == "" {
		for _, b := range s.Windows() {
			out += ", " + of(&b) + b.Bound.String()
		}
	}
	return out
}
