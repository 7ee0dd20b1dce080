package run

import (
	"fmt"
	"math"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// rejudge decides a recorded answer once more, from what was typed, the
// frozen plan and the meter's data, and refuses a record that claims more
// than they give. A decision in the log is what a program said then; a proof
// rests on what the numbers say.
func (m *Machine) rejudge(e entry.Entry, s *plan.Step) error {
	claimed := e.Text("decision")
	if e.Kind == entry.Wait {
		if waited, _ := e.Number("waited"); waited < s.Seconds {
			return fmt.Errorf("entry %d: waited %g s at %s, and %g s were to be waited", e.Index, waited, e.Path, s.Seconds)
		}
		return nil
	}
	if !accepted(s, claimed) {
		return nil // it claims nothing
	}
	got, err := m.decideAgain(e, s)
	if err != nil {
		return fmt.Errorf("entry %d: %s is recorded at %s, and %w", e.Index, claimed, e.Path, err)
	}
	if worse(claimed, got) != claimed {
		return fmt.Errorf("entry %d: %s is recorded at %s, and its own numbers give %s", e.Index, claimed, e.Path, got)
	}
	return nil
}

func (m *Machine) decideAgain(e entry.Entry, s *plan.Step) (string, error) {
	if s.Kind == plan.Capture {
		if e.Kind != entry.Capture && e.Kind != entry.Reading {
			return "", fmt.Errorf("a %s is no answer to a capture", e.Kind)
		}
		return m.captureAgain(e, s)
	}
	switch e.Kind {
	case entry.Statement:
		if s.Expect != "" && normal(s.Expect) != normal(e.Text("text")) {
			return Fail, nil
		}
		return e.Text("decision"), nil
	case entry.Computed:
		return m.computeAgain(e, s)
	case entry.Reading:
	default:
		return e.Text("decision"), nil
	}
	meter, f := m.start.Meter(s)
	if f == nil {
		return "", fmt.Errorf("no meter of the run could have taken it")
	}
	q, err := ParseTyped(e.Text("text"), s.Dim)
	if err != nil {
		return "", fmt.Errorf("its text is no reading: %w", err)
	}
	r, _, err := f.Read(q.Reading, rangeOf(f, e.Text("range")))
	if err != nil {
		return "", err
	}
	if err := onScreen(meter, f, q, &r); err != nil {
		return "", err
	}
	if v, ok := e.Number("value"); ok && math.Abs(v-r.Value) > 1e-9*math.Abs(r.Value) {
		return "", fmt.Errorf("its value is not its text")
	}
	j := Judge(s, r, f)
	if len(m.start.refusals(s, e.Time.Format("2006-01-02"))) > 0 {
		j.Decision = worse(j.Decision, CannotDecide)
	}
	return j.Decision, nil
}

// rangeOf gives the index of the range that an entry names as "to 600 V".
func rangeOf(f *measure.Function, text string) *int {
	for i, r := range f.Ranges {
		if "to "+(quantity.Value{SI: r.To, Dim: f.Dim}).String() == strings.TrimSpace(text) {
			return &i
		}
	}
	return nil
}

func (m *Machine) computeAgain(e entry.Entry, s *plan.Step) (string, error) {
	if s.Function == "value" {
		for _, a := range s.From {
			if a.IsValue() {
				return judgeRange(s, a.Lo, a.Hi).Decision, nil
			}
		}
	}
	c, err := m.evaluate(s)
	if err != nil {
		return CannotDecide, nil
	}
	if v, ok := e.Number("value"); !ok || math.Abs(v-c.x) > 1e-9*math.Abs(c.x) {
		return "", fmt.Errorf("the readings that it rests on give %g", c.x)
	}
	return Judge(s, c.reading(s), nil).Decision, nil
}
