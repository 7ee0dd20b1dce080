package run

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// reading records what was read off a meter, judged.
func (m *Machine) reading(p Prompt, a Answer) ([]entry.Body, error) {
	s := p.Step
	a.Text = a.withDivision()
	q, err := ParseTyped(a.Text, s.Dim)
	if err != nil {
		return nil, refuseReading(p, err)
	}
	if p.Function == nil {
		return nil, &Refused{p.Key, "no meter of this run can take this reading", "begin the run with a " + s.Role + " that can"}
	}
	on, err := rangeNamed(p, a.Range)
	if err != nil {
		return nil, err
	}
	r, warnings, err := p.Function.Read(q.Reading, on)
	if err != nil {
		return nil, &Refused{p.Key, err.Error(), ""}
	}
	if err := onScreen(p.Meter, p.Function, q, &r); err != nil {
		return nil, &Refused{p.Key, err.Error(), divisionHint(p.OnScreen)}
	}
	if ask := m.slips(p, a.Text, q, r, warnings); len(ask) > 0 && !a.Confirm {
		return nil, &AskBack{Key: p.Key, ReadBack: readBack(r), Questions: ask}
	}
	if a.ReadAt != "" {
		t, err := time.Parse(time.RFC3339, a.ReadAt)
		if err != nil || (!a.At.IsZero() && t.After(a.At)) {
			return nil, &Refused{p.Key, fmt.Sprintf("%q is not a time in the past", a.ReadAt), "write it as 2027-03-20T09:00:00Z"}
		}
		a.ReadAt = entry.FormatTime(t)
	}
	j := Judge(s, r, p.Function)
	for _, u := range m.start.refusals(s, date(a.At, m.start.Date)) {
		j.Decision = worse(j.Decision, CannotDecide)
		j.Findings = append(j.Findings, u)
	}
	return one(m.readingBody(p, a, q, r, j)), nil
}

func (m *Machine) readingBody(p Prompt, a Answer, q Typed, r measure.Reading, j Judgement) entry.Body {
	b := m.body(p)
	b.Kind = entry.Reading
	b.Add("attempt", fmt.Sprint(p.Attempt))
	b.Add("text", strings.TrimSpace(a.Text))
	unit, _ := p.Step.Dim.Unit()
	if !r.OverRange || r.Side != quantity.Exact {
		b.AddNumber("value", r.Value)
		b.Add("unit", unit)
	}
	b.Add("bound", side(r.Side))
	b.AddNumber("u", r.U)
	if r.RangeIndex >= 0 && r.RangeIndex < len(p.Function.Ranges) {
		mr := p.Function.Ranges[r.RangeIndex]
		b.AddNumber("digit", mr.Digit)
	}
	b.Add("instrument", p.Meter.ID)
	b.Add("function", p.Function.Name)
	if r.RangeIndex >= 0 && r.RangeIndex < len(p.Function.Ranges) {
		b.Add("range", "to "+quantity.Value{SI: p.Function.Ranges[r.RangeIndex].To, Dim: p.Function.Dim}.String())
	}
	j.addTo(&b)
	b.Add("reason", a.Reason)
	if a.Confirm {
		b.Add("confirmed", "asked back and confirmed")
	}
	b.Add("read-at", a.ReadAt)
	if q.Division > 0 {
		b.AddNumber("division", q.Division)
	}
	return b
}

func divisionHint(screen bool) string {
	if screen {
		return "type it with the time per division, such as 31.2 ms at 10 ms/div"
	}
	return "type what it shows"
}

// side gives the word for a one-sided value, nothing for a two-sided one.
func side(s quantity.Side) string {
	switch s {
	case quantity.Above:
		return "above"
	case quantity.Below:
		return "below"
	}
	return ""
}

// refuseReading words a reading that is not one.
func refuseReading(p Prompt, err error) error {
	var syntax *quantity.SyntaxError
	if errors.As(err, &syntax) {
		return &Refused{p.Key, syntax.Message, syntax.Hint}
	}
	return &Refused{p.Key, err.Error(), ""}
}

// rangeNamed gives the index of the meter's range that was named, nil if
// none was.
func rangeNamed(p Prompt, text string) (*int, error) {
	if strings.TrimSpace(text) == "" {
		return nil, nil
	}
	var tops []string
	want, err := quantity.Parse(text)
	for i, r := range p.Function.Ranges {
		if err == nil && want.Dim == p.Function.Dim && want.SI == r.To {
			return &i, nil
		}
		tops = append(tops, quantity.Value{SI: r.To, Dim: p.Function.Dim}.String())
	}
	return nil, &Refused{p.Key + ":range", fmt.Sprintf("%q is not a range of %s", text, p.Meter.ID), "its ranges go to " + choices(tops)}
}

func readBack(r measure.Reading) string {
	if r.OverRange && r.Side == quantity.Exact {
		return "over range"
	}
	v := quantity.Value{SI: r.Value, Dim: r.Dim}.String()
	switch r.Side {
	case quantity.Above:
		return "above " + v
	case quantity.Below:
		return "below " + v
	}
	return v
}

// date gives the local date of a time, or the run's own where the answer
// carries no time.
func date(t time.Time, otherwise string) string {
	if t.IsZero() {
		return otherwise
	}
	return t.Format(time.DateOnly)
}
