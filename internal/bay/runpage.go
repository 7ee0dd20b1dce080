package bay

import (
	"fmt"
	"hash/fnv"
	"net/http"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
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
	Over                                     bool
}

// readBack is a reading before it is recorded.
type readBack struct {
	Text, Words, Hash string
	Questions         []string
}

type bound struct {
	Text, Formula, Substituted, Rules, Source, ID string
	Inputs                                        []input
}

type input struct{ Name, Value string }

type stateChoice struct {
	Name, Label string
	Values      []string
}

// A section is a chunk of steps that belong together.
type section struct {
	Key, Title string
	Items      []item
	Done       int
}

type item struct {
	Text, State, Decision string
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
	p := m.Next()
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

// progress tells what is done and what is left.
func (s *Server) progress(v *runView, m *run.Machine, p run.Prompt, steps []run.StepResult) {
	key := ""
	if p.Step != nil {
		key = sectionKey(p.Step.Path)
		v.Section = &section{Key: key, Title: s.words.maybe("section "+key, sentence(key))}
	}
	var last *attempt
	for i, st := range steps {
		if st.Step.NotApplicable != "" {
			continue
		}
		now := p.Step != nil && p.Step.Path == st.Step.Path
		state := "left"
		switch {
		case now:
			state = "now"
		case len(st.Attempts) > 0 || st.Failed:
			state = "done"
			v.Done++
		}
		for k := range st.Attempts {
			if last == nil || st.Attempts[k].Index > last.Index {
				a := attemptOf(st, k)
				last = &a
			}
		}
		if p.Step != nil && sectionKey(st.Step.Path) == key && (v.Section.near(i, m, p)) {
			v.Section.Items = append(v.Section.Items, item{st.Step.Text, state, decisionOf(st)})
		}
	}
	v.Recorded = last
	if v.Section != nil && (strings.HasPrefix(key, "sign_in") || strings.HasPrefix(key, "time_out") || strings.HasPrefix(key, "sign_out")) {
		v.Stop = key
	}
}

// near keeps the list of a section short where it has hundreds of steps.
func (s *section) near(i int, m *run.Machine, p run.Prompt) bool {
	at, _ := m.Plan().Step(p.Step.Path)
	return i >= at-6 && i <= at+6
}

func decisionOf(st run.StepResult) string {
	if st.Failed {
		return run.Failed
	}
	if st.Decision == run.NotDone {
		return ""
	}
	return st.Decision
}

// sectionKey is the first part of a step's path: the block or the loop's item.
func sectionKey(path string) string {
	key, _, more := strings.Cut(path, ".")
	if !more {
		return "steps"
	}
	return key
}

func sentence(key string) string {
	text := strings.ReplaceAll(key, "_", " ")
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// aboutStep adds what the step says of itself: expected value, limits, meter,
// leads, and every attempt so far.
func (s *Server) aboutStep(v *runView, m *run.Machine, p run.Prompt, steps []run.StepResult) {
	st := p.Step
	v.Path, v.Purpose, v.Source = st.Path, st.Purpose, st.Source
	if p.Kind == run.AskWitness || p.Kind == run.AskAgain {
		v.Purpose = st.Text
	}
	i, _ := m.Plan().Step(st.Path)
	after := reasonsOf(m)
	for k := range steps[i].Attempts {
		a := attemptOf(steps[i], k)
		a.After = after[a.Index]
		v.Attempts = append(v.Attempts, a)
	}
	for _, b := range st.Bounds {
		switch {
		case b.Kind == quantity.Expected:
			v.Windows = append(v.Windows, boundOf(b))
		case b.Governs:
			v.Limits = append(v.Limits, boundOf(b))
		default:
			v.Others = append(v.Others, boundOf(b))
		}
	}
	switch p.Kind {
	case run.AskReading, run.AskCapture:
		s.aboutMeter(v, m, p, steps)
	case run.AskWait:
		v.Units = unitsOf(quantity.Second)
		v.Wait = quantity.Value{SI: st.Seconds, Dim: quantity.Second}.String()
		v.WaitLeft = max(0, int(st.Seconds-s.desk.car.Now().Sub(m.Ended()).Seconds()+0.999))
	}
}

func (s *Server) aboutMeter(v *runView, m *run.Machine, p run.Prompt, steps []run.StepResult) {
	st := p.Step
	if p.Kind == run.AskReading {
		v.Units, v.Sign = unitsOf(st.Dim), true
	}
	for _, c := range st.Channels {
		v.Notes = append(v.Notes, c.Role+" = "+c.Column)
	}
	if p.Meter != nil {
		v.Meter = p.Meter.ID
		if p.Meter.Kind != "" {
			v.Meter += ", " + p.Meter.Kind
		}
		if p.Meter.Category != "" {
			v.Meter += ", " + p.Meter.Category
		}
	}
	if p.Function != nil && p.Kind == run.AskReading {
		v.Reads = strings.ReplaceAll(p.Function.Name, "_", " ")
		for _, extra := range []string{st.Method, st.Stimulus} {
			if extra != "" {
				v.Reads += ", " + extra
			}
		}
		for _, r := range p.Function.Ranges {
			v.Ranges = append(v.Ranges, quantity.Value{SI: r.To, Dim: p.Function.Dim}.String())
		}
	}
	v.Leads = s.leads(st, steps)
	for _, o := range p.Outlook {
		if o.Why != "" {
			v.Notes = append(v.Notes, o.Why)
		}
	}
}

// leads tells whether the leads of the step's instrument were proved in this
// run.
func (s *Server) leads(st *plan.Step, steps []run.StepResult) string {
	switch st.LeadCheck {
	case plan.Before:
		return s.words.say("leads this before")
	case plan.After:
		return s.words.say("leads this after")
	}
	found := s.words.say("leads role", "role", strings.ReplaceAll(st.Role, "_", " "))
	for _, other := range steps {
		if other.Step.Path == st.Path {
			break
		}
		if other.Step.LeadCheck == plan.Before && other.Step.Role == st.Role && other.Last() != nil && !isBad(other.Decision) {
			found = s.words.say("leads proved", "role", strings.ReplaceAll(st.Role, "_", " "), "path", other.Step.Path)
		}
	}
	return found
}

func boundOf(b plan.Bound) bound {
	text := b.Bound.String()
	if b.Feature != "" {
		text = strings.ReplaceAll(b.Feature, "_", " ") + " " + text
	}
	out := bound{Text: text, Formula: b.Formula, Substituted: b.Substituted, Rules: b.Rules, Source: b.Source, ID: b.ID}
	if out.Substituted == out.Formula {
		out.Substituted = ""
	}
	for _, in := range b.Inputs {
		out.Inputs = append(out.Inputs, input{in.Name, quantity.Range{Lo: in.Lo, Nominal: in.Lo, Hi: in.Hi, Dim: in.Dim}.String()})
	}
	return out
}

// stateChoices gives for each state the values that the plan knows of it, and
// one for anything else. Their order is fixed by their letters, not by what
// is wanted, and what is wanted never stands first.
func stateChoices(p *plan.Plan, want []plan.State) []stateChoice {
	var out []stateChoice
	for _, w := range want {
		c := stateChoice{Name: w.Name, Label: strings.ReplaceAll(w.Name, "_", " "), Values: []string{w.Value}}
		for i := range p.Steps {
			for _, st := range p.Steps[i].State {
				if st.Name == w.Name && !slices.Contains(c.Values, st.Value) {
					c.Values = append(c.Values, st.Value)
				}
			}
		}
		c.Values = append(c.Values, opposites(c.Values)...)
		slices.SortFunc(c.Values, func(a, b string) int { return int(scatter(w.Name+a)) - int(scatter(w.Name+b)) })
		if c.Values[0] == w.Value && len(c.Values) > 1 {
			c.Values = append(c.Values[1:], w.Value)
		}
		out = append(out, c)
	}
	return out
}

func scatter(text string) uint16 {
	h := fnv.New32a()
	h.Write([]byte(text))
	return uint16(h.Sum32())
}

// opposites gives the other word of a known pair, so that a state that the
// plan knows one value of still is a question.
func opposites(values []string) []string {
	var out []string
	for _, pair := range [][2]string{{"open", "closed"}, {"in", "out"}, {"on", "off"}, {"disabled", "enabled"},
		{"connected", "disconnected"}, {"plugged", "unplugged"}, {"fitted", "removed"}, {"up", "down"}} {
		for i, word := range pair {
			other := pair[1-i]
			if slices.Contains(values, word) && !slices.Contains(values, other) && !slices.Contains(out, other) {
				out = append(out, other)
			}
		}
	}
	return out
}

// A stepLine is one step in the list of a run.
type stepLine struct {
	Path, Text, Decision, NotApplicable string
	Limit                               string
	Failed, Now                         bool
	Attempts                            []attempt
	Notes                               []noteLine
}

type noteLine struct{ Text, Name, Digest, When string }

// steps draws every step of the run with all its attempts.
func (s *Server) steps(c *call) {
	release := c.hold()
	v := struct {
		page
		Lines []stepLine
		ID    string
		Other []noteLine
	}{page: c.base("steps", s.words.say("title steps"))}
	m := s.desk.car.History().Run(c.r.FormValue("of"))
	if m == nil {
		m = s.desk.machine()
	}
	if m == nil {
		release()
		c.see("/run")
		return
	}
	v.ID, v.Title = m.ID(), fmt.Sprintf("%s, %s", m.Plan().Title, m.ID())
	p := m.Next()
	notes, after := notesOf(m), reasonsOf(m)
	v.Other = notes[""]
	for _, st := range m.Steps() {
		l := stepLine{Path: st.Step.Path, Text: st.Step.Text, Decision: decisionOf(st), NotApplicable: st.Step.NotApplicable, Failed: st.Failed,
			Now: p.Step != nil && p.Step.Path == st.Step.Path, Notes: notes[st.Step.Path]}
		for _, b := range st.Step.Limits() {
			l.Limit = b.Bound.String()
			break
		}
		for k := range st.Attempts {
			a := attemptOf(st, k)
			a.After = after[a.Index]
			l.Attempts = append(l.Attempts, a)
		}
		v.Lines = append(v.Lines, l)
	}
	release()
	c.draw(http.StatusOK, "steps", v)
}

// reasonsOf gives what was said after an attempt: why once more, the cause, or
// why the step was left failed; by the attempt's entry.
func reasonsOf(m *run.Machine) map[int64]string {
	out, last := map[int64]string{}, map[string]int64{}
	for _, e := range m.Events() {
		switch e.Body.Kind {
		case entry.Reading, entry.Statement, entry.Computed, entry.Capture:
			last[e.Body.Path] = e.Index
		case entry.Again, entry.StepEnd:
			said := []string{e.Body.Text("reason")}
			if cause := e.Body.Text("cause"); cause != "" {
				said = append(said, cause)
			}
			out[last[e.Body.Path]] = strings.Join(said, "; ")
		}
	}
	return out
}

// notesOf gives a run's notes by step path.
func notesOf(m *run.Machine) map[string][]noteLine {
	out := map[string][]noteLine{}
	for _, e := range m.Events() {
		if e.Body.Kind == entry.Note {
			out[e.Body.Path] = append(out[e.Body.Path], noteLine{e.Body.Text("text"), e.Body.Text("name"), e.Body.Text("file"), e.Local().Format("15:04:05")})
		}
	}
	return out
}
