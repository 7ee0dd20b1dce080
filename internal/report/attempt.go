package report

import (
	"fmt"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

var secondsDim = quantity.Second

// attempt gives the n-th answer to a step.
func (c *course) attempt(i, n int) Attempt {
	r := c.steps[i]
	a := &r.Attempts[n]
	out := Attempt{}
	if len(r.Attempts) > 1 {
		out.Title = fmt.Sprintf("%s of %d %s: %s", ordinal(n+1), len(r.Attempts), kindOf(a.Body.Kind), strings.ToUpper(a.Decision))
	}
	f := &out.Facts
	if why, ok := c.again[a.Index]; ok {
		words := because(why)
		if why.Body.Path != r.Step.Path {
			words = fmt.Sprintf("with %s: %s", why.Body.Path, words)
		}
		f.add("Again", words)
	}
	c.said(f, r.Step, a)
	figure := c.figure(r.Step, a)
	out.Chart = figure.chart
	f.add("Drawing", figure.remark)
	f.add("Decision", c.decision(r.Step, a))
	f.add("Each bound", results(r.Step, a.Body)...)
	f.add("Finding", a.Findings...)
	f.add("Note", a.Body.Text("reason"))
	if a.Body.Text("confirmed") != "" {
		f.add("Asked back", "it looked like a slip, was asked back, and was confirmed as read")
	}
	if t := a.Body.Text("read-at"); t != "" {
		f.add("Read at", moment(t)+", on paper, and entered later")
	}
	f.add("Meter", c.meters(r.Step, a.Body)...)
	if e, ok := c.at[a.Index]; ok {
		f.add("Signed", c.signed(e))
	}
	c.confirmations(f, r.Step, a)
	return out
}

// moment prints a time of an entry's field, as it stands where it is none.
func moment(text string) string {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		return text
	}
	return clock(t)
}

func kindOf(k entry.Kind) string {
	switch k {
	case entry.Reading:
		return "readings"
	case entry.Computed:
		return "computations"
	}
	return "answers"
}

// said gives what was answered: the value as understood beside what was
// typed, or the words.
func (c *course) said(f *Facts, s *plan.Step, a *run.Attempt) {
	typed := a.Body.Text("text")
	switch a.Body.Kind {
	case entry.Reading:
		if s.Kind == plan.Capture {
			f.add("Read by eye", fmt.Sprintf("typed %q; each number to one division, no better", typed))
			return
		}
		f.add("Read", reading(s, a)+fmt.Sprintf(", typed %q", typed))
	case entry.Computed:
		c.computed(f, s, a)
	case entry.Capture:
		captured(f, s, a)
	case entry.Statement:
		switch {
		case s.Expect == "":
			f.add("Said", fmt.Sprintf("%q (any of the choices is right)", typed))
		case a.Decision == run.Fail:
			f.add("Said", fmt.Sprintf("%q, where %q is wanted", typed, s.Expect))
		default:
			f.add("Said", fmt.Sprintf("%q, as wanted", typed))
		}
	case entry.Wait:
		if x, ok := a.Body.Number("waited"); ok {
			f.add("Waited", number(x, secondsDim)+fmt.Sprintf(", typed %q", typed))
		}
	case entry.Hold:
		f.add("Hold point", "reached; to be released by a "+a.Body.Text("role"))
	}
}

// captured gives a capture's file, how it was read, and its numbers.
func captured(f *Facts, s *plan.Step, a *run.Attempt) {
	f.add("Capture", a.Body.Text("name")+", SHA-256 "+a.Body.Text("file"))
	read := strings.Join(a.Body.Family("channel"), "; ") + "; importer " + a.Body.Text("importer")
	for _, how := range a.Body.Family("setting") {
		if strings.HasPrefix(how, "assumed: ") {
			read += "; " + how
		}
	}
	f.add("Read as", read)
	var numbers []string
	for _, n := range a.Features(s) {
		numbers = append(numbers, n.Name+" "+n.String())
	}
	f.add("Shows", sentence(strings.Join(numbers, "; "), "none of the numbers looked for"))
}

// reading gives a reading's value, or why it has none.
func reading(s *plan.Step, a *run.Attempt) string {
	if !a.HasValue {
		return "over range, no value"
	}
	if side := a.Body.Text("bound"); side != "" {
		return beyond(side, a.Value, s.Dim)
	}
	return value(a.Value, a.U, s.Dim)
}

// computed gives a computed value with what it was computed from.
func (c *course) computed(f *Facts, s *plan.Step, a *run.Attempt) {
	lo, has := a.Body.Number("low")
	hi, both := a.Body.Number("high")
	switch {
	case has && both:
		f.add("Comes to", span(lo, hi, s.Dim)+" over the tolerances of the car's data")
	case a.HasValue:
		f.add("Comes to", reading(s, a))
	default:
		f.add("Comes to", "no value")
	}
	var from []string
	for _, arg := range s.From {
		switch {
		case arg.Step != "":
			from = append(from, fmt.Sprintf("%s = %s, from step %s", arg.Name, c.lastBefore(arg.Step, a.Index), arg.Step))
		case arg.Text != "":
			from = append(from, fmt.Sprintf("%s = %q", arg.Name, arg.Text))
		default:
			from = append(from, fmt.Sprintf("%s %s", arg.Name, formula(arg.Formula, arg.Substituted, arg.Exactness, arg.Inputs)))
		}
	}
	f.add("Computed by", append([]string{s.Function}, from...)...)
}

// lastBefore gives what a step had been answered before the entry index.
func (c *course) lastBefore(path string, index int64) string {
	i, ok := c.plan.Step(path)
	if !ok {
		return "not read"
	}
	said := "not read"
	r := c.steps[i]
	for n := range r.Attempts {
		a := &r.Attempts[n]
		if a.Index >= index {
			break
		}
		said = fmt.Sprintf("%q", a.Body.Text("text"))
		if a.HasValue {
			said = reading(r.Step, a)
		}
	}
	return said
}

// decision gives the decision with its rule, and whether it was accepted.
func (c *course) decision(s *plan.Step, a *run.Attempt) string {
	said := a.Body.Kind == entry.Statement && (a.Decision == run.Pass || a.Decision == run.Fail) // says so itself
	if a.Decision == "" || a.Decision == run.Done || said {
		return ""
	}
	out := a.Decision
	if r := a.Body.Text("rule"); r != "" {
		out += " " + rule(r)
	}
	if a.Decision == run.ConditionalPass {
		out += ": the limit is met by less than U"
		if s.ConditionalPass {
			out += ", which the procedure accepts here"
		} else {
			out += ", which is not enough here"
		}
	}
	if a.Decision == run.ConditionalFail {
		out += ": the limit is missed by less than U"
	}
	return out
}

// confirmations gives who witnessed or released an answer, and how long after.
func (c *course) confirmations(f *Facts, s *plan.Step, a *run.Attempt) {
	done := false
	for _, e := range c.confirmed[a.Index] {
		after := fmt.Sprintf("%s, %s later", c.signed(e), later(e.Time.Sub(a.Time)))
		switch e.Body.Kind {
		case entry.Witness:
			done = true
			f.add("Witnessed", after)
		case entry.Release:
			done = true
			f.add("Released", after)
		default:
			f.add("Countersigned", after)
		}
	}
	switch {
	case done:
	case a.Body.Kind == entry.Hold:
		f.add("Released", "NOT RELEASED")
	case s.Witness && enough(s, a):
		f.add("Witnessed", "NOT WITNESSED")
	}
}

// later words the time between two signatures.
func later(d time.Duration) string {
	switch {
	case d < 0:
		return "-" + later(-d)
	case d < 2*time.Minute:
		return fmt.Sprintf("%d s", int(d.Seconds()))
	}
	return d.Truncate(time.Second).String()
}
