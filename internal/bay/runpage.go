package bay

import (
	"net/http"
	"slices"

	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A runView is the page of the open run: one question.
type runView struct {
	page
	Kind    string
	Path    string
	Number  int
	Total   int
	Done    int
	Section *section
	Stop    string // "sign_in", "time_out", "sign_out": one of the three stops

	Cautions []plan.Text // of the step, in full
	General  []plan.Text // of the procedure
	Brief    bool        // short enough to stand in full
	Ask      []plan.Text // to be acknowledged now

	Text    string
	Purpose string
	Source  string

	Windows []bound
	Limits  []bound
	Others  []bound // that do not govern
	Meter   string
	Reads   string // function and method
	Leads   string
	Ranges  []string
	Notes   []string

	Units    []string
	OnScreen bool // the division of the screen is asked, too
	Sign     bool
	Point    string
	Choices  []string
	States   []stateChoice
	Wanted   []plan.State // AskState: what must be so; AskResume: what was last said
	Recent   []string
	Wait     string
	WaitLeft int

	Role      people.Role
	Person    string   // who signs
	People    []string // to choose from
	Attempt   int
	Last      string
	NeedCause bool
	Attempts  []attempt
	Recorded  *attempt // the last of the run

	Typed    typed
	ReadBack *readBack

	Idled   bool
	Pressed string
	Moved   *movedView
	Broken  string
	Ended   *endView
}

type movedView struct {
	From, To, When string
	Lost           bool // by this device
}

type endView struct{ ID, Title, Outcome, Reason string }

// typed is what a form brought that was not taken: it is shown again.
type typed struct {
	Digits, Unit, Range, Text, Reason, Cause string
	Division, DivisionUnit                   string // of the screen that a time is read off
	Over                                     bool
}

// readBack is a reading before it is recorded.
type readBack struct {
	Text, Words, Hash string
	Questions         []string
}

// run draws the open run.
func (s *Server) run(c *call) {
	release := c.hold()
	v := s.runView(c)
	release()
	c.draw(http.StatusOK, "run", v)
}

// runAgain draws it with what was wrong, and what was typed.
func (s *Server) runAgain(c *call, f *fault, t typed) {
	v := s.runView(c)
	v.Fault, v.Typed = f, t
	s.desk.mu.Unlock()
	c.draw(f.status, "run", v)
}

func (s *Server) runView(c *call) runView {
	d, w := s.desk, s.words
	v := runView{page: c.base("run", w.say("title run")), Idled: d.idled, Pressed: d.pressed, Point: w.say("decimal")}
	m := d.machine()
	if m == nil {
		runs := d.car.History().Runs()
		if n := len(runs); n > 0 && runs[n-1].Closed() {
			last := runs[n-1]
			v.Ended = &endView{last.ID(), last.Plan().Title, last.Outcome(), last.Reason()}
		}
		return v
	}
	if err := m.Broken(); err != nil {
		v.Broken = err.Error()
		return v
	}
	if mv := d.moved; mv != nil {
		v.Moved = &movedView{d.devices.name(mv.from), d.devices.name(mv.to), mv.at.Format("15:04"), mv.from == c.device.ID}
	}
	p := d.next(m)
	v.Title = m.Plan().Title
	v.Mark = mark(m, p)
	v.Kind, v.Number, v.Total, v.Text, v.Role, v.Person = string(p.Kind), p.Number, p.Total, p.Text, p.Role, p.Person
	v.Choices, v.Attempt, v.Last, v.NeedCause = p.Choices, p.Attempt, p.Last, p.NeedCause
	v.People = d.car.People(p.Role)
	v.Ask = p.Texts
	v.States, v.Wanted = stateChoices(m.Plan(), p.State), p.State
	if p.Kind == run.AskResume {
		v.Recent = m.Recent()
	}
	steps := m.Steps()
	s.cautions(&v, m, p)
	s.progress(&v, m, p, steps)
	if p.Step != nil {
		s.aboutStep(&v, m, p, steps)
	}
	return v
}

// cautions puts the step's own in full, and of the procedure's the rest.
func (s *Server) cautions(v *runView, m *run.Machine, p run.Prompt) {
	if p.Kind == run.AskCaution {
		return // they are the question
	}
	if p.Step != nil {
		v.Cautions = p.Step.Cautions
	}
	long := 0
	for _, t := range m.Plan().Cautions {
		if !slices.Contains(v.Cautions, t) {
			v.General = append(v.General, t)
			long += len(t.Text)
		}
	}
	v.Brief = long <= brief
}

// brief is how many bytes of cautions about the whole procedure still leave
// room for the step: longer ones are named, with their texts one touch away.
// All were read aloud and acknowledged when the run began.
const brief = 140
