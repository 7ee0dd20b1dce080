package run

import (
	"maps"
	"strings"

	"hvproof/internal/capture/feature"
	"hvproof/internal/entry"
	"hvproof/internal/plan"
)

// The kinds of an Incident that are not the code of a capture's finding.
const (
	FailedAttempt = "failed-attempt" // a try that puts energy into the car, or is recorded, and was not accepted
	ForcedStop    = "make-safe"      // somebody or a failed step stopped it, and the car was made safe
)

// An Incident is something that happened to the car in a live run, whatever
// became of the run: it may have touched parts that an earlier run had proved.
type Incident struct {
	Event    Event
	Kind     string            // FailedAttempt, ForcedStop, or a finding's code such as "opened-under-load"
	Path     string            // the step; at a ForcedStop the one that was waited for, empty at the end
	Parts    []string          // of that step
	State    map[string]string // of the car as last said: "packs" → "in"
	Decision string            // of the attempt
	Text     string            // the finding's sentence, or the reason
}

// Incidents gives what happened to the car in the order of the log. A dead run
// and a rehearsal have none.
func (m *Machine) Incidents() []Incident { return m.incidents }

// happened adds an incident of the newest event.
func (m *Machine) happened(i Incident, s *plan.Step) {
	if !m.plan.Live || m.start.Rehearsal {
		return
	}
	i.Event, i.State = m.events[len(m.events)-1], maps.Clone(m.state)
	if s != nil {
		i.Path, i.Parts = s.Path, s.Parts
	}
	m.incidents = append(m.incidents, i)
}

// stopped adds the incident of a stop.
func (m *Machine) stopped(e entry.Entry) {
	var at *plan.Step
	if m.at < len(m.steps) {
		at = &m.plan.Steps[m.at]
	}
	m.happened(Incident{Kind: ForcedStop, Text: e.Text("reason")}, at)
}

// tried adds the incidents of an attempt that was not accepted.
func (m *Machine) tried(s *plan.Step, a Attempt) {
	if accepted(s, a.Decision) || s.Kind != plan.Capture && len(s.Heats) == 0 {
		return
	}
	m.happened(Incident{Kind: FailedAttempt, Decision: a.Decision, Text: strings.Join(a.Findings, " ")}, s)
	for _, f := range a.Findings {
		if code, sentence, ok := strings.Cut(f, ": "); ok && feature.IsCode(code) && !feature.Undecides(code) {
			m.happened(Incident{Kind: code, Decision: a.Decision, Text: sentence}, s)
		}
	}
}
