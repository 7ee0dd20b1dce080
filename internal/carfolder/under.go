package carfolder

import (
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
)

// Under gives the limits of another rule set for this car, chosen or not, for
// judging readings again. A step's limit is computed with the values that
// today's procedure has there, its loops' items among them; of a step that the
// procedure no longer has, a limit that asks for such an item says so.
func (f *Folder) Under(set string) (readiness.Rules, error) {
	book, ok := f.Book.Under(set)
	if !ok {
		return nil, diag.Bad("rule sets here: "+strings.Join(f.Book.SetIDs(), ", "), "there is no rule set %q", set)
	}
	known := map[string]map[string]formula.Env{} // procedure, path
	return func(procedure, path string, b plan.Bound) ([]plan.Bound, string) {
		if !book.Has(b.ID) {
			return nil, ""
		}
		steps, walked := known[procedure]
		if !walked {
			steps = f.Library.Values(procedure, f.Vehicle, f.Book)
			known[procedure] = steps
		}
		env := steps[path]
		if env == nil {
			env = f.Vehicle.Env()
		}
		l := book.Look(b.ID, env, b.Dim, "")
		if l.Missing.Errors() || l.Problems.Errors() {
			all := append(append(diag.List{}, l.Problems...), l.Missing...)
			return nil, set + ": " + all[0].Message
		}
		return l.Bounds, ""
	}, nil
}

// Unasked gives the limits of a rule set that no step of today's procedures is
// judged by: what it asks for beyond what is measured here.
func (f *Folder) Unasked(set string, reqs []readiness.Requirement) []string {
	book, ok := f.Book.Under(set)
	if !ok {
		return nil
	}
	asked := map[string]bool{}
	for _, r := range reqs {
		if r.Today == nil {
			continue
		}
		for i := range r.Today.Steps {
			for _, b := range r.Today.Steps[i].Bounds {
				asked[b.ID] = true
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(book.IDs()), func(id string) bool { return asked[id] })
}
