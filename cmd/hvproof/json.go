package main

import (
	"math"

	"hvproof/internal/deskcheck"
	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// The JSON documents are relied upon from outside: fields may be added, none
// renamed or removed. A value that does not exist is absent.

// quantityDocument is a quantity in base units.
type quantityDocument struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	Bound string  `json:"bound,omitempty"` // "above" or "below" where the value is one-sided
	U     float64 `json:"u,omitempty"`     // expanded uncertainty
}

// jsonDigits leave the noise of binary arithmetic out, 201600.00000000003, and
// are more than any meter has. Decisions are never made with what is printed.
const jsonDigits = 12

// quantityJSON gives a quantity to the nearest in so many digits, and nil for
// what is not finite: JSON has no such number.
func quantityJSON(x float64, d quantity.Dim) *quantityDocument {
	return roundedJSON(x, d, quantity.RoundNearest)
}

// roundedJSON is quantityJSON for a value with a safe side: a limit is rounded
// inward, a window or a range outward.
func roundedJSON(x float64, d quantity.Dim, r quantity.Rounding) *quantityDocument {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	unit, ok := d.Unit()
	if !ok {
		unit = d.String()
	}
	return &quantityDocument{Value: quantity.Round(x, jsonDigits, r), Unit: unit}
}

// rangeJSON gives the ends of a range, rounded outward.
func rangeJSON(lo, hi float64, d quantity.Dim) (low, high *quantityDocument) {
	return roundedJSON(lo, d, quantity.RoundDown), roundedJSON(hi, d, quantity.RoundUp)
}

// within adds the expanded uncertainty, rounded up.
func (q *quantityDocument) within(u float64) { q.U = quantity.Round(u, jsonDigits, quantity.RoundUp) }

// boundDocument is a limit or an expected window.
type boundDocument struct {
	ID          string            `json:"id"`
	Procedure   string            `json:"procedure,omitempty"`
	Step        string            `json:"step,omitempty"`
	Bound       string            `json:"bound"`
	Low         *quantityDocument `json:"low,omitempty"`
	High        *quantityDocument `json:"high,omitempty"`
	Formula     string            `json:"formula"`
	Substituted string            `json:"substituted"`
	Inputs      []inputDocument   `json:"inputs"`
	Exactness   string            `json:"exactness,omitempty"`
	Method      string            `json:"method,omitempty"`
	Stimulus    string            `json:"stimulus,omitempty"`
	Rules       string            `json:"rules,omitempty"`
	Decision    string            `json:"decision_rule,omitempty"`
	Governs     bool              `json:"governs"`
	Source      string            `json:"source,omitempty"`
	Status      string            `json:"status,omitempty"`  // "read", "memory" or "shop", of a rule set's limit
	Missing     string            `json:"missing,omitempty"` // which value of the car it lacks

	NotApplicable string `json:"not_applicable,omitempty"`
}

type inputDocument struct {
	Name string            `json:"name"`
	Low  *quantityDocument `json:"low"`
	High *quantityDocument `json:"high"`
}

func boundJSON(b plan.Bound, procedure, step string) boundDocument {
	d := boundDocument{ID: b.ID, Procedure: procedure, Step: step, Bound: b.Kind.String(), Formula: b.Formula,
		Substituted: b.Substituted, Inputs: []inputDocument{}, Exactness: b.Exactness, Method: b.Method, Stimulus: b.Stimulus,
		Rules: b.Rules, Governs: b.Governs, Source: b.Source}
	if b.Kind != quantity.Expected {
		d.Decision = b.Rule.String()
	}
	switch b.Kind {
	case quantity.AtLeast:
		d.Low = roundedJSON(b.Low, b.Dim, quantity.RoundUp)
	case quantity.AtMost, quantity.MagnitudeAtMost:
		d.High = roundedJSON(b.High, b.Dim, quantity.RoundDown)
	case quantity.Expected:
		d.Low, d.High = rangeJSON(b.Low, b.High, b.Dim)
	default:
		d.Low, d.High = roundedJSON(b.Low, b.Dim, quantity.RoundUp), roundedJSON(b.High, b.Dim, quantity.RoundDown)
	}
	for _, in := range b.Inputs {
		low, high := rangeJSON(in.Lo, in.Hi, in.Dim)
		d.Inputs = append(d.Inputs, inputDocument{in.Name, low, high})
	}
	return d
}

// deskDocument is one desk check.
type deskDocument struct {
	Procedure   string            `json:"procedure"`
	Step        string            `json:"step"`
	Text        string            `json:"text"`
	Low         *quantityDocument `json:"low,omitempty"`
	High        *quantityDocument `json:"high,omitempty"`
	Formula     string            `json:"formula,omitempty"`
	Substituted string            `json:"substituted,omitempty"`
	Note        string            `json:"note,omitempty"` // which part is meant, where that is the answer
	Refused     bool              `json:"refused"`
	Missing     string            `json:"missing,omitempty"` // which value of the car it lacks
	IfExceeded  string            `json:"if_exceeded,omitempty"`
}

func deskJSON(page deskcheck.Page, procedure string, c *deskcheck.Check) deskDocument {
	d := deskDocument{Procedure: procedure, Step: c.Step.Path, Text: c.Step.Text, Note: page.Note(*c), Refused: len(c.Refused) > 0, Missing: c.Missing, IfExceeded: c.Step.Purpose}
	if v := c.Value; v != nil {
		d.Low, d.High = rangeJSON(v.Lo, v.Hi, v.Dim)
		d.Formula, d.Substituted = v.Formula, v.Substituted
	}
	return d
}

// runDocument is a run as `run`, `resume` and `show` give it.
type runDocument struct {
	Run       string         `json:"run,omitempty"`
	Procedure string         `json:"procedure"`
	Practice  bool           `json:"practice"`
	Rehearsal bool           `json:"rehearsal"`
	Outcome   string         `json:"outcome"`
	Closed    bool           `json:"closed"`
	Reasons   []string       `json:"reasons,omitempty"`
	Steps     []stepDocument `json:"steps"`
}

type stepDocument struct {
	ID         string            `json:"id"`
	Kind       string            `json:"kind"`
	Attempts   int               `json:"attempts"`
	Instrument string            `json:"instrument,omitempty"`
	Decision   string            `json:"decision"`
	Reason     string            `json:"reason,omitempty"`
	Answer     string            `json:"answer,omitempty"`
	Reading    *quantityDocument `json:"reading,omitempty"`
	Limit      *boundDocument    `json:"limit,omitempty"`
	Window     *boundDocument    `json:"window,omitempty"`
	Capture    *captureDocument  `json:"capture,omitempty"`
	Findings   []string          `json:"findings"`
	Witness    string            `json:"witness,omitempty"`
}

// runJSON gives the document of a run; outcome "stopped" for one that is not
// finished.
func runJSON(m *run.Machine) runDocument {
	d := runDocument{Run: m.ID(), Procedure: m.Plan().Procedure, Practice: m.Start().Practice, Rehearsal: m.Start().Rehearsal,
		Outcome: m.Outcome(), Closed: m.Closed(), Steps: []stepDocument{}}
	if d.Outcome == run.Open {
		d.Outcome = run.Stopped
	}
	if r := m.Reason(); r != "" {
		d.Reasons = append(d.Reasons, r)
	}
	for _, s := range m.Steps() {
		d.Steps = append(d.Steps, stepJSON(s))
	}
	return d
}

func stepJSON(s run.StepResult) stepDocument {
	d := stepDocument{ID: s.Step.Path, Kind: s.Step.Kind, Attempts: len(s.Attempts), Decision: s.Decision,
		Reason: s.Step.NotApplicable, Findings: []string{}}
	if l := s.Step.Limits(); len(l) > 0 {
		b := boundJSON(l[0], "", "")
		d.Limit = &b
	}
	if w := s.Step.Windows(); len(w) > 0 {
		b := boundJSON(w[0], "", "")
		d.Window = &b
	}
	a := s.Last()
	if a == nil {
		return d
	}
	d.Instrument, d.Answer, d.Witness = a.Body.Text("instrument"), a.Body.Text("text"), a.Witness
	d.Findings = append(d.Findings, a.Findings...)
	if s.Step.Kind == plan.Capture && a.Body.Kind == entry.Capture {
		d.Capture = recordedCapture(s.Step, a)
	}
	if a.HasValue && a.Body.Kind != entry.Wait {
		d.Reading = quantityJSON(a.Value, s.Step.Dim)
		d.Reading.Bound = a.Body.Text("bound")
		d.Reading.within(a.U)
	}
	return d
}
