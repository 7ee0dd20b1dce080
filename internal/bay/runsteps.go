package bay

import (
	"net/http"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

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
	v.ID, v.Title = m.ID(), m.Plan().Title
	p := m.Next()
	notes, after := notesOf(m), reasonsOf(m)
	v.Other = notes[""]
	for _, st := range m.Steps() {
		l := stepLine{Path: st.Step.Path, Text: st.Step.Text, Decision: decisionOf(st), NotApplicable: st.Step.NotApplicable, Failed: st.Failed,
			Now: p.Step != nil && p.Step.Path == st.Step.Path, Notes: notes[st.Step.Path]}
		for _, b := range st.Step.Limits() {
			l.Limit = s.words.bound(b.Bound)
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
