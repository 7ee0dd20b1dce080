package bay

import (
	"net/http"
	"net/url"
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A procedureLine is one procedure in the list.
type procedureLine struct{ ID, Title, Stage, Purpose, NotApplicable string }

// procedures lists every procedure of the car.
func (s *Server) procedures(c *call) {
	release := c.hold()
	v := struct {
		page
		Lines []procedureLine
		Wrong *fault
	}{page: c.base("procedures", s.words.say("title procedures"))}
	folder, err := s.desk.car.Folder()
	if err != nil {
		v.Wrong = faultOf(err)
	} else {
		order, _ := folder.Library.Order()
		for _, id := range order {
			p, ok := folder.Library.Procedure(id)
			if !ok {
				continue
			}
			l := procedureLine{ID: id, Title: p.Title, Stage: p.Stage}
			if today, err := folder.Plan(id, v.Practice); err != nil {
				l.NotApplicable = err.Error()
			} else {
				l.NotApplicable, l.Purpose = today.NotApplicable, today.Purpose
			}
			v.Lines = append(v.Lines, l)
		}
		slices.SortStableFunc(v.Lines, func(a, b procedureLine) int { return strings.Compare(a.Stage, b.Stage) })
	}
	release()
	c.draw(http.StatusOK, "procedures", v)
}

// A planStep is one step of a procedure as it stands for this car.
type planStep struct {
	plan.Step
	Bounds []bound
	Past   string // where its past readings are, "" for a step that is none
}

// procedure shows a procedure for this car, every step with its limits.
func (s *Server) procedure(c *call) {
	release := c.hold()
	v := struct {
		page
		Plan   *plan.Plan
		Steps  []planStep
		Proofs []string
	}{page: c.base("procedure", "")}
	folder, err := s.desk.car.Folder()
	if err == nil {
		v.Plan, err = folder.Plan(c.r.PathValue("id"), v.Practice)
	}
	release()
	if err != nil {
		f := faultOf(err)
		f.status = http.StatusNotFound
		c.failPage(f)
		return
	}
	v.Title = v.Plan.Title
	for _, st := range v.Plan.Steps {
		l := planStep{Step: st}
		for _, b := range st.Bounds {
			l.Bounds = append(l.Bounds, s.boundOf(b))
		}
		if st.Kind == plan.Measure || st.Kind == plan.Time || st.Kind == plan.Compute || st.Kind == plan.Capture {
			l.Past = readingAddress(v.Plan.Procedure, st.Path)
		}
		v.Steps = append(v.Steps, l)
	}
	for _, p := range v.Plan.Proves {
		v.Proofs = append(v.Proofs, p.ID+": "+strings.Join(p.Parts, ", "))
	}
	c.draw(http.StatusOK, "procedure", v)
}

func readingAddress(procedure, path string) string {
	return "/readings/" + url.PathEscape(procedure) + "/" + url.PathEscape(path)
}

// A limitLine is one limit of a rule set.
type limitLine struct {
	bound
	Item, Edition, Status, NotApplicable, Missing string
	Governs                                       bool
}

// limits lists every limit of the chosen rule sets with its derivation.
func (s *Server) limits(c *call) {
	release := c.hold()
	v := struct {
		page
		Lines []limitLine
		Wrong *fault
	}{page: c.base("limits", s.words.say("title limits"))}
	folder, err := s.desk.car.Folder()
	if err != nil {
		v.Wrong = faultOf(err)
	} else {
		for _, l := range folder.Book.All() {
			line := limitLine{bound: s.boundOf(l.Bound), Item: l.Item, Edition: l.Title + ", " + l.Edition, Status: string(l.Status),
				NotApplicable: l.NotApplicable, Missing: l.Missing, Governs: l.Governs}
			if !l.HasValue() {
				line.Text = ""
			}
			v.Lines = append(v.Lines, line)
		}
	}
	release()
	c.draw(http.StatusOK, "limits", v)
}

// A readingLine is a step that was ever measured.
type readingLine struct {
	Address, Procedure, Path, Title, Said, Decision, When string
	Bad                                                   bool
	Count                                                 int
}

// readings lists every step that was measured, with its newest reading.
func (s *Server) readings(c *call) {
	release := c.hold()
	v := struct {
		page
		Lines []readingLine
	}{page: c.base("readings", s.words.say("title readings"))}
	at := map[string]int{}
	for _, m := range s.desk.car.History().Runs() {
		for _, st := range m.Steps() {
			for k := range st.Attempts {
				if !st.Attempts[k].HasValue && st.Step.Kind != plan.Capture || st.Step.Kind == plan.Wait {
					continue
				}
				address := readingAddress(m.Plan().Procedure, st.Step.Path)
				i, ok := at[address]
				if !ok {
					i = len(v.Lines)
					at[address] = i
					v.Lines = append(v.Lines, readingLine{Address: address, Procedure: m.Plan().Procedure, Path: st.Step.Path, Title: m.Plan().Title})
				}
				l, a := &v.Lines[i], attemptOf(st, k)
				l.Said, l.Decision, l.Bad, l.When = a.Said, a.Decision, a.Bad, st.Attempts[k].Time.UTC().Format("2006-01-02")
				l.Count++
			}
		}
	}
	release()
	slices.SortStableFunc(v.Lines, func(a, b readingLine) int { return strings.Compare(a.Title, b.Title) })
	c.draw(http.StatusOK, "readings", v)
}

// A pastReading is one reading of a step in some run.
type pastReading struct {
	attempt
	Date, Run, Limit, Instrument string
	Practice                     bool
}

// reading shows every reading of one step, oldest first, and its trend.
func (s *Server) reading(c *call) {
	release := c.hold()
	procedure, path := c.r.PathValue("procedure"), c.r.PathValue("path")
	v := struct {
		page
		Procedure, Path, Text string
		Lines                 []pastReading
		Trend                 *trend
	}{page: c.base("reading", path), Procedure: procedure, Path: path}
	var points []point
	for _, m := range s.desk.car.History().Runs() {
		if m.Plan().Procedure != procedure {
			continue
		}
		for _, st := range m.Steps() {
			if st.Step.Path != path {
				continue
			}
			v.Text = st.Step.Text
			points = append(points, pointsOf(st)...)
			for k := range st.Attempts {
				l := pastReading{attempt: attemptOf(st, k), Run: m.ID(), Date: st.Attempts[k].Time.UTC().Format("2006-01-02"),
					Instrument: st.Attempts[k].Body.Text("instrument"), Practice: m.Start().Practice || m.Start().Rehearsal}
				for _, b := range st.Step.Limits() {
					l.Limit = s.words.bound(b.Bound)
					break
				}
				v.Lines = append(v.Lines, l)
			}
		}
	}
	release()
	if v.Text == "" {
		c.failPage(s.desk.fault(http.StatusNotFound, "fault no readings"))
		return
	}
	v.Title, v.Trend = v.Text, newTrend(points)
	c.draw(http.StatusOK, "reading", v)
}

// pointsOf gives a step's readings for the drawing.
func pointsOf(st run.StepResult) []point {
	var out []point
	for k := range st.Attempts {
		a := &st.Attempts[k]
		if !a.HasValue {
			continue
		}
		p := point{at: a.Time, value: a.Value, u: a.U, dim: st.Step.Dim, bad: isBad(a.Decision), side: a.Body.Text("bound")}
		for _, b := range st.Step.Limits() {
			p.limit = &b.Bound
			break
		}
		out = append(out, p)
	}
	return out
}
