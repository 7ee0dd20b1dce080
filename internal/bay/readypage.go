package bay

import (
	"net/http"
	"slices"
	"strings"

	"hvproof/internal/carfolder"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A readyView is the first page: may power come on, and the shortest way.
type readyView struct {
	page
	Ready
	Way      []wayStep
	Minutes  int
	Stages   []stage
	Closings []Closing
	Wrong    *fault // the files, where they cannot be read
}

// A wayStep is a procedure to be run, in an order that can be done.
type wayStep struct {
	Retest
	Stage string
	Next  bool // nothing before it is owed
}

type stage struct {
	Name   string
	Proofs []Proof
}

// ready draws whether power may come on.
func (s *Server) ready(c *call) {
	release := c.hold()
	v := readyView{page: c.base("ready", s.words.say("title ready"))}
	folder, err := s.desk.car.Folder()
	if err == nil {
		v.Ready, err = s.desk.car.Ready()
	}
	if err != nil {
		v.Wrong = faultOf(err)
	} else {
		v.Way, v.Closings = way(folder, v.Ready), s.desk.car.Closings()
		for _, r := range v.Retest {
			v.Minutes += r.Minutes
		}
		for _, p := range v.Proofs {
			if n := len(v.Stages); n == 0 || v.Stages[n-1].Name != p.Stage {
				v.Stages = append(v.Stages, stage{Name: p.Stage})
			}
			last := &v.Stages[len(v.Stages)-1]
			last.Proofs = append(last.Proofs, p)
		}
	}
	release()
	c.draw(http.StatusOK, "ready", v)
}

// way gives the retest plan with what of it can begin now: what has none of
// its prerequisites in the plan.
func way(folder *carfolder.Folder, r Ready) []wayStep {
	owed := map[string]bool{}
	for _, t := range r.Retest {
		owed[t.Procedure] = true
	}
	for _, p := range r.Proofs {
		owed[p.ID] = !p.OK && owed[p.Procedure]
	}
	var out []wayStep
	for _, t := range r.Retest {
		w := wayStep{Retest: t}
		if p, ok := folder.Library.Procedure(t.Procedure); ok {
			w.Stage = p.Stage
			w.Next = !slices.ContainsFunc(p.Prerequisites(), func(id string) bool { return owed[id] })
		}
		out = append(out, w)
	}
	return out
}

// A beginView is the form that begins a run.
type beginView struct {
	page
	Plan      *plan.Plan
	Steps     int
	Operators []string
	Witnesses []string
	Releasers []string
	Roles     []roleChoice
	Chosen    Choice
	Abandons  string
	Why       []string // it must not begin
}

type roleChoice struct {
	Role, Label, Chosen string
	Able                []string
}

// beginPage draws the form that begins a run.
func (s *Server) beginPage(c *call) {
	c.hold()
	s.drawBegin(c, Choice{Procedure: c.r.PathValue("id"), Retest: c.r.FormValue("retest") == "yes"}, nil)
}

// drawBegin draws the form and gives the desk back.
func (s *Server) drawBegin(c *call, chosen Choice, f *fault) {
	d := s.desk
	v := beginView{page: c.base("begin", s.words.say("title begin")), Chosen: chosen}
	v.Fault = f
	folder, err := d.car.Folder()
	var p *plan.Plan
	if err == nil {
		p, err = folder.Plan(chosen.Procedure, d.car.Practice())
	}
	if err != nil {
		d.mu.Unlock()
		c.failPage(faultOf(err))
		return
	}
	v.Plan, v.Title = p, p.Title
	v.Operators, v.Witnesses, v.Releasers = d.car.People(people.Operator), d.car.People(people.Witness), d.car.People(people.Releaser)
	for i := range p.Steps {
		if p.Steps[i].NotApplicable == "" {
			v.Steps++
		}
	}
	if !asks(p, func(st *plan.Step) bool { return st.Kind == plan.Hold }) {
		v.Releasers = nil
	}
	if !asks(p, func(st *plan.Step) bool { return st.Witness }) && p.People < 2 {
		v.Witnesses = nil
	}
	for _, role := range run.Roles(p) {
		rc := roleChoice{Role: role, Label: sentence(role), Chosen: chosen.Instruments[role]}
		for _, in := range folder.WithRole(role) {
			rc.Able = append(rc.Able, in.ID)
		}
		v.Roles = append(v.Roles, rc)
	}
	if m := d.machine(); m != nil {
		v.Abandons = m.ID()
	}
	d.mu.Unlock()
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "begin", v)
}

func asks(p *plan.Plan, what func(*plan.Step) bool) bool {
	return slices.ContainsFunc(p.Steps, func(st plan.Step) bool { return st.NotApplicable == "" && what(&st) })
}

// begin begins a run.
func (s *Server) begin(c *call) {
	d := s.desk
	c.hold()
	r := c.r
	choice := Choice{Procedure: r.PathValue("id"), Operator: r.PostFormValue("operator"), Witness: r.PostFormValue("witness"),
		Releaser: r.PostFormValue("releaser"), Retest: r.PostFormValue("retest") == "yes", Instruments: map[string]string{}}
	for name := range r.PostForm {
		if role, ok := strings.CutPrefix(name, "with."); ok && r.PostFormValue(name) != "" {
			choice.Instruments[role] = r.PostFormValue(name)
		}
	}
	if choice.Operator == "" {
		s.drawBegin(c, choice, d.fault(http.StatusUnprocessableEntity, "fault nobody"))
		return
	}
	if f := d.begin(c.device, choice, r.PostFormValue("passphrase"), r.PostFormValue("abandons")); f != nil {
		s.drawBegin(c, choice, f)
		return
	}
	d.mu.Unlock()
	s.changes.happened()
	c.see("/run")
}

// liveProcedures gives those that need a sanction for test.
func liveProcedures(folder *carfolder.Folder, practice bool) []procedureLine {
	var out []procedureLine
	order, _ := folder.Library.Order()
	for _, id := range order {
		p, ok := folder.Library.Procedure(id)
		if !ok || p.Stage < "C" {
			continue
		}
		if today, err := folder.Plan(id, practice); err == nil && today.Live && today.NotApplicable == "" {
			out = append(out, procedureLine{ID: id, Title: p.Title, Stage: p.Stage, Purpose: today.Purpose})
		}
	}
	slices.SortStableFunc(out, func(a, b procedureLine) int { return strings.Compare(a.Stage, b.Stage) })
	return out
}
