package run

import (
	"slices"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/plan"
)

// The outcomes of a run.
const (
	Open    = ""        // not finished
	Passed  = "passed"  // every step passed
	Failed  = "failed"  // a step failed
	Stopped = "stopped" // left by a person, to be resumed
	Refusal = "refused" // never begun
)

// A Machine is one run. The zero value is not useful; use New.
type Machine struct {
	plan   *plan.Plan
	id     string
	start  Start
	steps  []progress
	at     int               // step waited for; len(steps) when all are done
	acked  map[string]bool   // cautions acknowledged since the start or the last resume
	state  map[string]string // the state of the car as last said
	resume bool              // the state of the car must be said first
	air    bool              // ambient recorded

	failed bool   // a step is left failed
	ending bool   // a failed step ended the run; only sign-out remains
	reason string // why the run failed
	safed  bool   // make-safe recorded
	ended  string // outcome of the run-end entry
	began  time.Time
	last   time.Time
	index  int64 // of the run's first entry

	abandoned bool    // a later run replaced it
	broken    error   // an entry that no run would write
	events    []Event // every entry of the run
	incidents []Incident
	history   *History // that the run is part of, nil if it stands alone
}

// progress is what is known of one step.
type progress struct {
	attempts []Attempt
	reopened int  // attempts that an `again` entry has set aside
	again    bool // an `again` entry allows the next attempt
	closed   bool // done, or left failed
	failed   bool
	awaiting bool // the witness has not signed yet
	held     bool // a hold point is reached and not released
}

// An Attempt is one recorded answer to a step.
type Attempt struct {
	Index    int64    // of its entry
	Leaf     [32]byte // of its entry
	Body     entry.Body
	Time     time.Time
	Signer   string
	Decision string // "pass", "fail", "done" …
	Findings []string
	Value    float64 // SI
	U        float64
	HasValue bool
	Witness  string // who confirmed, empty if nobody
}

// New begins the machine of a run from its first entry's data.
func New(id string, s Start) *Machine {
	return &Machine{plan: s.Plan, id: id, start: s, steps: make([]progress, len(s.Plan.Steps)),
		events: make([]Event, 0, len(s.Plan.Steps)+2)}
}

// ID gives the run's id.
func (m *Machine) ID() string { return m.id }

// Plan gives the frozen plan.
func (m *Machine) Plan() *plan.Plan { return m.plan }

// Start gives what the run began with.
func (m *Machine) Start() Start { return m.start }

// Interrupted makes the state of the car the next question. It is called
// when a run is taken up again; a run that has ended is not changed by it.
func (m *Machine) Interrupted() {
	if m.ended == "" {
		m.resume = true
	}
}

// Recent gives what the last two recorded entries after the first said, oldest
// first, for the moment after an interruption.
func (m *Machine) Recent() []string {
	var out []string
	for _, e := range m.events[max(0, len(m.events)-2):] {
		if e.Body.Kind == entry.RunStart {
			continue
		}
		say := string(e.Body.Kind)
		if e.Body.Path != "" {
			say += " " + e.Body.Path
		}
		for _, name := range []string{"text", "decision", "reason"} {
			if v := e.Body.Text(name); v != "" {
				say += ": " + v
			}
		}
		out = append(out, say)
	}
	return out
}

// Outcome gives Passed, Failed or Open. Failed is given as soon as it cannot
// become a pass any more by going on, even if sign-out is still owed.
func (m *Machine) Outcome() string {
	switch {
	case m.ended != "":
		return m.ended
	case m.ending:
		return Failed
	}
	return Open
}

// Closed reports whether the run has ended and nothing of it is owed.
func (m *Machine) Closed() bool { return m.ended != "" }

// skip moves to the next step that is to be done.
func (m *Machine) skip() {
	for m.at < len(m.steps) {
		s := &m.plan.Steps[m.at]
		if s.NotApplicable == "" && !m.steps[m.at].closed && !(m.ending && m.at < m.plan.SignOut) {
			return
		}
		m.at++
	}
}

// Next tells what is wanted now.
func (m *Machine) Next() Prompt {
	m.skip()
	p := Prompt{Kind: Finished, Role: people.Operator, Person: m.start.Operator}
	if m.ended != "" {
		return p
	}
	p.Number, p.Total = m.count()
	if m.resume {
		p.Kind, p.Key, p.State = AskResume, "resume:state", m.known()
		p.Text = "State the car's condition as it is now, after looking."
		return p
	}
	if m.ending && m.needMakeSafe() {
		p.Kind, p.Text = Automatic, "Make the car safe."
		return p
	}
	if m.at == len(m.steps) {
		p.Kind, p.Text = Automatic, "Record the end of the run."
		return p
	}
	s, g := &m.plan.Steps[m.at], &m.steps[m.at]
	p.Step, p.Key, p.SignOut = s, s.Path, m.at >= m.plan.SignOut
	p.Attempt = len(g.attempts) + 1
	if g.awaiting {
		p.Kind, p.Key, p.Text = AskWitness, s.Path+":witness", "The witness confirms what was seen."
		p.Role, p.Person, p.Choices = people.Witness, m.start.Witness, []string{Seen}
		return p
	}
	if g.held {
		p.Kind, p.Text, p.Choices = AskRelease, s.Text, []string{Released}
		p.Role, p.Person = people.Releaser, m.start.Releaser
		return p
	}
	if len(g.attempts) > g.reopened && !g.again {
		return m.askAgain(p, g)
	}
	return m.askStep(p, s)
}

// askStep asks what stands around the step first, then the step.
func (m *Machine) askStep(p Prompt, s *plan.Step) Prompt {
	if m.plan.Ambient && !m.air && !p.SignOut {
		p.Kind, p.Key, p.Text = AskAmbient, "run:ambient", "Temperature, humidity, and wet or dry."
		return p
	}
	if c := m.cautions(s); len(c) > 0 {
		p.Kind, p.Key, p.Texts = AskCaution, s.Path+":caution", c
		p.Text, p.Choices = "Read the cautions aloud.", []string{Acknowledge}
		return p
	}
	if st := m.changed(s); len(st) > 0 {
		p.Kind, p.Key, p.State = AskState, s.Path+":state", st
		p.Text = "Bring the car to this state, look, and say what it is."
		return p
	}
	p.Text = s.Text
	switch s.Kind {
	case plan.Confirm, plan.Observe:
		p.Kind, p.Choices = AskStatement, s.Choices
	case plan.Measure, plan.Time:
		p.Kind = AskReading
		p.Meter, p.Function = m.start.Meter(s)
		p.Outlook, p.OnScreen = Outlooks(s, p.Function), OnScreen(p.Meter, p.Function)
	case plan.Capture:
		p.Kind = AskCapture
		p.Meter, p.Function = m.start.Meter(s)
	case plan.Wait:
		p.Kind, p.Need = AskWait, time.Duration(s.Seconds*float64(time.Second))
	case plan.Hold:
		p.Kind = Automatic
	case plan.Compute:
		p.Kind = Automatic
	}
	return p
}

func (m *Machine) askAgain(p Prompt, g *progress) Prompt {
	last := g.attempts[len(g.attempts)-1]
	p.Kind, p.Key, p.Last = AskAgain, p.Step.Path+":again", last.Decision
	p.Found = last.Findings
	for _, f := range last.Findings {
		p.Last += "; " + f
	}
	p.Text = "Once more, with the reason; or leave it failed."
	p.NeedWord, p.NeedCause = true, len(g.attempts) >= 2
	return p
}

// count gives the number of the current step and how many apply.
func (m *Machine) count() (number, total int) {
	for i := range m.plan.Steps {
		if m.plan.Steps[i].NotApplicable != "" {
			continue
		}
		total++
		if i <= m.at {
			number = total
		}
	}
	return number, total
}

func (m *Machine) cautions(s *plan.Step) []plan.Text {
	var out []plan.Text
	for _, of := range [][]plan.Text{m.plan.Cautions, s.Cautions} {
		for _, c := range of {
			if !m.acked[c.ID] && !slices.Contains(out, c) {
				out = append(out, c)
			}
		}
	}
	return out
}

func (m *Machine) changed(s *plan.Step) []plan.State {
	var out []plan.State
	for _, st := range s.State {
		if m.state[st.Name] != st.Value {
			out = append(out, st)
		}
	}
	return out
}

// known gives the state as last said, in the order in which steps name it.
func (m *Machine) known() []plan.State {
	var out []plan.State
	seen := map[string]bool{}
	for i := range m.plan.Steps {
		for _, st := range m.plan.Steps[i].State {
			if v, ok := m.state[st.Name]; ok && !seen[st.Name] {
				seen[st.Name] = true
				out = append(out, plan.State{Name: st.Name, Value: v})
			}
		}
	}
	return out
}

// needMakeSafe reports whether the step that ended the run asks for the
// make-safe actions and they are not recorded yet.
func (m *Machine) needMakeSafe() bool {
	if m.safed {
		return false
	}
	for i := range m.steps {
		if m.steps[i].failed && m.plan.Steps[i].IfFailed == plan.MakeSafeStop {
			return true
		}
	}
	return false
}
