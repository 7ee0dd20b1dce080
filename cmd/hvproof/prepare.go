package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// load reads the car folder's files and refuses to go on with faulty ones.
// Within a session it reads them again only if one of them has changed.
func (s *session) load() (*carfolder.Folder, error) {
	stamp := carfolder.Stamp(s.root)
	if s.folder != nil && stamp != "" && stamp == s.stamp {
		return s.folder, nil
	}
	folder, problems := carfolder.Load(s.root)
	if problems.Errors() {
		return nil, faultyFiles(problems)
	}
	s.folder, s.stamp = folder, stamp
	return folder, nil
}

// prepare makes the plan and settles people and instruments.
func (s *session) prepare(folder *carfolder.Folder, procedure string, f runFlags, file *answersFile) (run.Start, error) {
	p, err := folder.Plan(procedure, s.practice)
	if err != nil {
		return run.Start{}, err
	}
	if file != nil {
		if err := file.check(p); err != nil {
			return run.Start{}, err
		}
	}
	whole := p
	if f.retest {
		if p, err = s.cutDown(folder, p); err != nil {
			return run.Start{}, err
		}
	}
	start := run.Start{Plan: p, Practice: s.practice, Rehearsal: file != nil && !s.practice,
		Operator: f.operator, Witness: f.witness, Releaser: f.releaser, Others: f.others,
		Workshop: folder.Vehicle.Text("report.workshop"), Customer: folder.Vehicle.Text("report.customer"), Place: folder.Vehicle.Text("report.place"),
		Instruments: map[string]string{}, Date: s.now().Format(time.DateOnly)}
	if file != nil {
		start.Operator = first(start.Operator, file.people["operator"])
		start.Witness = first(start.Witness, file.people["witness"])
		start.Releaser = first(start.Releaser, file.people["releaser"])
	}
	if err := s.choosePeople(&start); err != nil {
		return start, err
	}
	return start, s.chooseInstruments(&start, whole, folder, f, file)
}

func first(words ...string) string {
	for _, w := range words {
		if w != "" {
			return w
		}
	}
	return ""
}

// choosePeople fills in who has a role where only one person can, and
// refuses people that the log does not know.
func (s *session) choosePeople(start *run.Start) error {
	for _, c := range []struct {
		role people.Role
		id   *string
	}{{people.Operator, &start.Operator}, {people.Witness, &start.Witness}, {people.Releaser, &start.Releaser}} {
		can := s.names(c.role)
		if *c.id == "" {
			can = slices.DeleteFunc(can, func(id string) bool { return id == start.Operator || id == start.Witness && c.role == people.Operator })
			if len(can) == 1 {
				*c.id = can[0]
			}
			continue
		}
		if !slices.Contains(can, *c.id) {
			return diag.Bad("people who may: "+strings.Join(can, ", "), "%s may not act as %s in this log", *c.id, c.role)
		}
	}
	if start.Operator == "" {
		return diag.Bad("say who, with --operator ID; people who may: "+strings.Join(s.names(people.Operator), ", "), "no operator was named")
	}
	return nil
}

// chooseInstruments settles which meter takes the readings of each role. A
// meter may be named for any role of the whole procedure, also where the plan
// is cut down.
func (s *session) chooseInstruments(start *run.Start, whole *plan.Plan, folder *carfolder.Folder, f runFlags, file *answersFile) error {
	chosen := map[string]string{}
	if file != nil {
		for role, id := range file.instruments {
			chosen[role] = id
		}
	}
	for _, w := range f.with {
		role, id, ok := strings.Cut(w, "=")
		if !ok {
			return diag.Bad("write it as --with voltmeter=meter-1", "--with %s: not ROLE=INSTRUMENT", w)
		}
		chosen[role] = id
	}
	roles := run.Roles(start.Plan)
	known := run.Roles(whole)
	for role := range chosen {
		if !slices.Contains(known, role) {
			hint := "its roles: " + strings.Join(known, ", ")
			if len(known) == 0 {
				hint = "it needs no instruments"
			}
			return diag.Bad(hint, "no step of %s asks for the role %q", start.Plan.Procedure, role)
		}
	}
	used := map[string]bool{}
	for _, role := range roles {
		able := folder.WithRole(role)
		id := chosen[role]
		if id == "" && len(able) == 1 {
			id = able[0].ID
		}
		in, ok := folder.Instrument(id)
		switch {
		case id == "" && len(able) == 0:
			return diag.Bad("give one the role in instruments.yaml", "no instrument has the role %s", role)
		case id == "":
			return diag.Bad(fmt.Sprintf("choose with --with %s=ID: %s", role, instrumentIDs(able)), "several instruments have the role %s", role)
		case !ok:
			return diag.Bad("instruments with the role "+role+": "+instrumentIDs(able), "there is no instrument %q", id)
		case !slices.Contains(in.Roles, role):
			return diag.Bad("give it the role in instruments.yaml, or choose from: "+instrumentIDs(able), "%s does not have the role %s", id, role)
		}
		start.Instruments[role] = id
		if !used[id] {
			used[id] = true
			start.Meters = append(start.Meters, in)
		}
	}
	return nil
}

func instrumentIDs(list []measure.Instrument) string {
	var ids []string
	for _, in := range list {
		ids = append(ids, in.ID)
	}
	return strings.Join(ids, ", ")
}

// refusals gives all reasons why the run must not begin.
func (s *session) refusals(start run.Start, folder *carfolder.Folder) []string {
	why := start.Refusals()
	for _, m := range s.history.Runs() {
		if !m.Closed() && m.Outcome() == run.Failed {
			why = append(why, fmt.Sprintf("run %s (%s) is not signed out: hvproof resume %s", m.ID(), m.Plan().Procedure, m.ID()))
		}
	}
	if start.Plan.Live && !start.Rehearsal { // at a rehearsal nobody is at a car
		who := append([]string{start.Operator, start.Witness, start.Releaser}, start.Others...)
		if no := s.record.Sanctioned(start.Plan.Procedure, start.Plan.Stage, who, s.now()); no != "" {
			why = append(why, no)
		}
	}
	proofs, err := s.proofs(folder.Requirements(s.practice))
	if err != nil {
		why = append(why, err.Error())
	}
	why = append(why, s.broken()...)
	why = append(why, readiness.Unmet(s.facts(), folder.Requirements(s.practice), start.Plan, s.now())...)
	for _, p := range proofs { // Unmet reads no files
		before := slices.Contains(start.Plan.Prerequisites, p.Proof) || slices.Contains(start.Plan.Prerequisites, p.Procedure)
		text := fmt.Sprintf("prerequisite %s is %s: %s", p.Proof, p.State, p.Reason)
		if before && !p.OK() && !slices.Contains(why, text) {
			why = append(why, text)
		}
	}
	return why
}
