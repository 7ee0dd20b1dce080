package procedure

import (
	"slices"

	"hvproof/internal/deskcheck"
	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// A Library is all procedures and blocks of a car folder, with the texts
// that they name. It does not change.
type Library struct {
	procedures, blocks []*Procedure
	texts              *Texts
}

// NewLibrary puts the files of a car folder together, in the order given.
// Files that could not be parsed are left out by the caller; texts is nil if
// there is no cautions.yaml.
func NewLibrary(files []*Procedure, t *Texts) (*Library, diag.List) {
	l := &Library{texts: t}
	if t == nil {
		l.texts = new(Texts)
	}
	var problems diag.List
	first := map[string]*Procedure{}
	for _, p := range files {
		if q := first[p.ID]; q != nil {
			p.errorf(&problems, p.name(), "another name", "%s is the name of %s, too", p.ID, q.Place())
			continue
		}
		first[p.ID] = p
		if p.Block {
			l.blocks = append(l.blocks, p)
		} else {
			l.procedures = append(l.procedures, p)
		}
	}
	return l, problems
}

// Procedures gives the procedures in the order of the files.
func (l *Library) Procedures() []*Procedure { return slices.Clone(l.procedures) }

// Procedure finds a procedure by its id.
func (l *Library) Procedure(id string) (*Procedure, bool) { return find(l.procedures, id) }

// IDs gives the ids of the procedures in the order of the files.
func (l *Library) IDs() []string { return ids(l.procedures) }

// Prover gives the procedures that prove something, in the order of the
// files; where there are several, at most one of them applies to a car that
// passes Check.
func (l *Library) Prover(proof string) []*Procedure {
	var out []*Procedure
	for _, p := range l.procedures {
		if slices.Contains(p.Proves(), proof) {
			out = append(out, p)
		}
	}
	return out
}

func (l *Library) block(id string) (*Procedure, bool) { return find(l.blocks, id) }

func (l *Library) blockIDs() []string { return ids(l.blocks) }

func find(list []*Procedure, id string) (*Procedure, bool) {
	for _, p := range list {
		if p.ID == id {
			return p, true
		}
	}
	return nil, false
}

func ids(list []*Procedure) []string {
	var out []string
	for _, p := range list {
		out = append(out, p.ID)
	}
	return out
}

// Plan makes a procedure ready for a car: loops unrolled, conditions
// resolved, limits attached. The plan is nil if there is a fault; warnings
// come with a plan. files are the files of the car folder that the plan is
// made from, practice is whether the folder is a practice folder.
func (l *Library) Plan(id string, v *vehicle.Vehicle, book *rules.Book, files []plan.File, practice bool) (*plan.Plan, diag.List) {
	p, ok := l.Procedure(id)
	if !ok {
		var problems diag.List
		problems.Errorf(diag.Place{}, nearest(id, l.IDs()), "there is no procedure %q", id)
		return nil, problems
	}
	w := l.walk(p, v, book, Faulty{})
	w.plan.Files, w.plan.Practice = files, practice
	if w.faults.list.Errors() {
		return nil, w.faults.list
	}
	if err := w.plan.Check(); err != nil {
		p.errorf(&w.faults.list, p.name(), "", "%v", err)
		return nil, w.faults.list
	}
	return w.plan, w.faults.list
}

// Draft is Plan for a look ahead: what the car's file does not give is left
// undone, whatever the steps say, so that the others can be decided. No run
// begins with a draft. It is nil if there is any other fault.
func (l *Library) Draft(id string, v *vehicle.Vehicle, book *rules.Book) *plan.Plan {
	p, ok := l.Procedure(id)
	if !ok {
		return nil
	}
	w := newWalk(l, p, v, book, Faulty{})
	w.draft = true
	if w.all(p); w.faults.beyondLacks() {
		return nil
	}
	return w.plan
}

// Values gives, for each step of a procedure by its path, the values that a
// formula has there: the car's, and those of the items of the loops around it.
// None for a procedure that there is not.
func (l *Library) Values(id string, v *vehicle.Vehicle, book *rules.Book) map[string]formula.Env {
	p, ok := l.Procedure(id)
	if !ok {
		return nil
	}
	w := l.walk(p, v, book, Faulty{})
	out := make(map[string]formula.Env, len(w.index))
	for path, i := range w.index {
		out[path] = w.origins[i].env
	}
	return out
}

// walk unrolls a procedure and checks what came out.
func (l *Library) walk(p *Procedure, v *vehicle.Vehicle, book *rules.Book, faulty Faulty) *walk {
	w := newWalk(l, p, v, book, faulty)
	w.all(p)
	return w
}

func newWalk(l *Library, p *Procedure, v *vehicle.Vehicle, book *rules.Book, faulty Faulty) *walk {
	w := &walk{
		faulty: faulty, lib: l, car: v, env: deskcheck.Env(v), book: book, index: map[string]int{},
		plan: &plan.Plan{
			Car: v.Name(), Procedure: p.ID, Title: p.Title, Stage: p.Stage, Purpose: p.w.Purpose.Text,
			Live: p.live, Prerequisites: p.Prerequisites(), People: p.people, Ambient: p.air,
			MakeSafe: texts(p.w.MakeSafe),
		},
	}
	if highest, err := v.MaxVoltage(); err == nil {
		w.plan.CarVoltage = highest.Hi
	}
	return w
}

// all walks over the whole procedure.
func (w *walk) all(p *Procedure) {
	sc := scope{file: p.file, env: w.env, prefixes: []string{""}, items: map[string]formula.Item{}}
	w.applies(&sc, p.w.AppliesIf)
	w.plan.NotApplicable = sc.reason
	w.plan.Cautions = w.texts(sc, p.w.Cautions, w.lib.texts.cautions, "caution")
	w.plan.Protective = w.texts(sc, p.w.Protective, w.lib.texts.protective, "protective equipment")
	if sc.reason != "" {
		w.proofs(p, sc)
		return
	}
	sc.state = w.state(sc, nil, p.w.State)
	w.list(p.w.Steps, sc)
	w.plan.SignOut = len(w.plan.Steps)
	sc.signOut = true
	w.list(p.w.SignOut, sc)
	w.proofs(p, sc)
	w.review(p)
}

// tested stands among the parts of a proof for every part that a step of the
// procedure is about.
const tested = "tested"

// proofs settles what the procedure proves, about which parts. Where it does
// not apply, parts that the car lacks are left as they are written.
func (w *walk) proofs(p *Procedure, sc scope) {
	for _, key := range p.w.Proves.Keys() {
		proof := plan.Proof{ID: key.Text, HoldsDays: p.days}
		list, _ := p.w.Proves.Get(key.Text)
		for _, s := range list {
			var parts []string
			switch {
			case sc.reason != "":
				parts = []string{s.Text}
			case s.Text == tested:
				parts = w.tested()
				if parts == nil && w.lacksValues() {
					w.faults.add(p.file.At(s, "write the car into vehicle.yaml", "every value that the steps need is missing"), aValue)
				} else if parts == nil && !w.faults.list.Errors() {
					w.lack(sc, s, "add part: to the steps, or name the parts here", "no step for this car names a part")
				}
			default:
				parts = w.part(sc, s)
			}
			for _, part := range parts {
				if !slices.Contains(proof.Parts, part) {
					proof.Parts = append(proof.Parts, part)
				}
			}
		}
		w.plan.Proves = append(w.plan.Proves, proof)
	}
}

// lacksValues reports whether a step is not done because the car's file does
// not give a value.
func (w *walk) lacksValues() bool {
	return slices.ContainsFunc(w.plan.Steps, func(s plan.Step) bool { return s.LacksValue() })
}

// tested gives the parts that the steps find something out about.
func (w *walk) tested() []string {
	var out []string
	for i := range w.plan.SignOut {
		s := &w.plan.Steps[i]
		if s.NotApplicable == "" && finds(s) {
			out = append(out, s.Parts...)
		}
	}
	return out
}

// finds reports whether a step finds something out about the car.
func finds(s *plan.Step) bool {
	return s.LeadCheck == "" && s.Kind != plan.Wait && s.Kind != plan.Hold
}

// name gives the procedure's or block's id with its place.
func (p *Procedure) name() yamlfile.Scalar {
	if p.Block {
		return p.w.Block
	}
	return p.w.Procedure
}

func (p *Procedure) errorf(list *diag.List, at yamlfile.Scalar, hint, format string, a ...any) {
	list.Add(p.file.At(at, hint, format, a...))
}
