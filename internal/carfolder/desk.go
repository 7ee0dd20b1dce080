package carfolder

import (
	"slices"
	"strings"

	"hvproof/internal/deskcheck"
	"hvproof/internal/diag"
	"hvproof/internal/plan"
)

// Desk decides the desk checks of the procedures that prove design_review, as
// a run of them would, and gives what they refuse and what they lack. It is
// for a folder without faults.
func (f *Folder) Desk() ([]deskcheck.Check, diag.List) {
	var checks []deskcheck.Check
	var out diag.List
	provers := f.Library.Prover(deskcheck.Proof)
	if len(provers) == 0 {
		out.Warnf(diag.Place{File: "procedures"}, "hvproof init writes one into a new folder", "no procedure proves %s: nothing was checked at the desk", deskcheck.Proof)
	}
	for _, p := range provers {
		planned, faults := f.Library.Plan(p.ID, f.Vehicle, f.Book, f.Files(), false)
		if planned == nil {
			var lacks []string
			for _, q := range faults {
				if q.Severity == diag.Fault && !slices.Contains(lacks, q.Message) {
					lacks = append(lacks, q.Message)
				}
			}
			out.Warnf(diag.Place{File: VehicleFile}, "", "no run of %s can begin: %s", p.ID, strings.Join(lacks, "; "))
			if planned = f.Library.Draft(p.ID, f.Vehicle, f.Book); planned == nil {
				continue
			}
		}
		checks = append(checks, deskcheck.Review(planned)...)
	}
	out.Append(deskcheck.Problems(checks, f.Vehicle))
	for _, file := range f.Files() {
		if file.Origin == plan.Changed && strings.HasPrefix(file.Name, "rules/") {
			out.Warnf(diag.Place{File: file.Name}, "every run records that it was", "the file was changed: its limits may be looser or stricter than those that came with the program")
		}
	}
	out.Sort()
	return checks, out
}
