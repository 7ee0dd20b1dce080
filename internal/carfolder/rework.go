package carfolder

import (
	"hvproof/checklists"
	"hvproof/internal/diag"
	"hvproof/internal/rework"
	"hvproof/internal/yamlfile"
)

const reworkFile = "rework.yaml"

// readRework reads rework.yaml into f. A folder without it has the program's
// own: deleting the file must not make work void less.
func (f *Folder) readRework(all *diag.List) {
	y, faults := f.read(reworkFile)
	if y == nil && !faults.Errors() {
		b, err := checklists.Files.ReadFile(reworkFile)
		if err != nil {
			panic("the program was built without " + reworkFile)
		}
		y, faults = yamlfile.Parse(reworkFile, b)
	}
	all.Append(faults)
	if y == nil || faults.Errors() {
		return
	}
	f.Rework, faults = rework.Parse(y)
	all.Append(faults)
}

// ProofParts gives the proofs of the folder with the parts that they are
// about, for [rework.Book.Effects].
func (f *Folder) ProofParts(practice bool) []rework.Proof {
	var out []rework.Proof
	for _, r := range f.Requirements(practice) {
		if r.Today == nil || r.Today.NotApplicable != "" {
			continue
		}
		out = append(out, rework.Proof{ID: r.Proof, Parts: r.Parts()})
	}
	return out
}
