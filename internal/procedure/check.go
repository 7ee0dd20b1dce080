package procedure

import (
	"slices"

	"hvproof/internal/diag"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// Faulty says which files of a car folder have faults, so that what they lack
// may be meant all the same.
type Faulty struct{ Car, Rules, Procedures, Texts bool }

// Check makes every procedure ready for the car and gives all faults, and
// those of the procedures together: a prerequisite that nothing proves,
// stages out of order, circles, two procedures for one proof. What the car's
// file does not give yet is a warning here; the procedure that needs it has
// no plan until then.
func (l *Library) Check(v *vehicle.Vehicle, book *rules.Book) diag.List {
	return l.CheckBeside(v, book, Faulty{})
}

// CheckBeside is Check beside files with faults: of what rests on them only
// that is said which would be wrong whatever they mean.
func (l *Library) CheckBeside(v *vehicle.Vehicle, book *rules.Book, faulty Faulty) diag.List {
	var problems diag.List
	applies := map[*Procedure]bool{}
	for _, p := range l.procedures {
		w := l.walk(p, v, book, faulty)
		problems.Append(w.faults.softened(v, faulty.Car))
		applies[p] = w.plan.NotApplicable == ""
	}
	if faulty.Procedures || faulty.Car {
		problems.Sort()
		return problems
	}
	l.doubled(applies, &problems)
	l.unproved(&problems)
	_, circles := l.Order()
	problems.Append(circles)
	required, _ := v.Required()
	for _, proof := range required {
		if len(l.Prover(proof.Text)) == 0 {
			problems.Errorf(proof.At, nearest(proof.Text, l.proofs()), "no procedure proves %q", proof.Text)
		}
	}
	problems.Sort()
	return problems
}

// doubled reports two procedures that prove the same for one car: neither
// would be the one that counts.
func (l *Library) doubled(applies map[*Procedure]bool, problems *diag.List) {
	first := map[string]*Procedure{}
	for _, p := range l.procedures {
		if !applies[p] {
			continue
		}
		for _, key := range p.w.Proves.Keys() {
			if q := first[key.Text]; q != nil {
				p.errorf(problems, key, "another name for the proof", "%s proves %s, too", q.ID, key.Text)
				continue
			}
			first[key.Text] = p
		}
	}
}

// unproved reports prerequisites that nothing proves, and those of a later
// stage.
func (l *Library) unproved(problems *diag.List) {
	for _, p := range l.procedures {
		for i, need := range p.w.Prerequisites {
			if slices.ContainsFunc(p.w.Prerequisites[:i], func(s yamlfile.Scalar) bool { return s.Text == need.Text }) {
				p.errorf(problems, need, "once is enough", "the prerequisite %s is here twice", need.Text)
			}
			provers := l.Prover(need.Text)
			if len(provers) == 0 {
				p.errorf(problems, need, nearest(need.Text, l.proofs()), "no procedure proves %q", need.Text)
			}
			for _, q := range provers {
				if q.Stage > p.Stage {
					p.errorf(problems, need, "prerequisites are of the same or an earlier stage",
						"stages out of order: %s is of stage %s and needs %s, which %s of stage %s proves", p.ID, p.Stage, need.Text, q.ID, q.Stage)
				}
			}
		}
	}
}

// proofs gives the ids of all proofs.
func (l *Library) proofs() []string {
	var out []string
	for _, p := range l.procedures {
		out = append(out, p.Proves()...)
	}
	return out
}
