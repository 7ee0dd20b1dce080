package carfolder

import (
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
)

// Under gives the limits of another rule set for this car, chosen or not, for
// judging readings again. A limit that asks for a loop's item cannot be
// computed outside its loop, and says so.
func (f *Folder) Under(set string) (readiness.Rules, error) {
	book, ok := f.Book.Under(set)
	if !ok {
		return nil, diag.Bad("rule sets here: "+strings.Join(f.Book.SetIDs(), ", "), "there is no rule set %q", set)
	}
	return func(b plan.Bound) ([]plan.Bound, string) {
		if !book.Has(b.ID) {
			return nil, ""
		}
		l := book.Look(b.ID, f.Vehicle.Env(), b.Dim, "")
		if l.Missing.Errors() || l.Problems.Errors() {
			all := append(append(diag.List{}, l.Problems...), l.Missing...)
			return nil, set + ": " + all[0].Message
		}
		return l.Bounds, ""
	}, nil
}
