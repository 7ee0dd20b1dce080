package carfolder

import (
	"io/fs"
	"slices"
	"sync"

	"hvproof/checklists"
	"hvproof/internal/plan"
	"hvproof/internal/procedure"
	"hvproof/internal/readiness"
	"hvproof/internal/yamlfile"
)

// Requirements gives every proof that the folder's procedures give, and every
// one that the program's own give and the folder's do not any more, in the
// order in which they can be done.
//
// Required are those that vehicle.yaml names; where it names none, all of the
// program's own of stages A to D.
func (f *Folder) Requirements(practice bool) []readiness.Requirement {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.requirements == nil {
		f.requirements = map[bool][]readiness.Requirement{}
	}
	if f.requirements[practice] == nil {
		f.requirements[practice] = f.require(practice)
	}
	return slices.Clone(f.requirements[practice])
}

func (f *Folder) require(practice bool) []readiness.Requirement {
	named, stated := f.Vehicle.Required()
	shipped := shippedProofs()
	isRequired := func(proof string) bool {
		if !stated {
			s, ok := shipped[proof]
			return ok && s.stage <= "D"
		}
		return slices.ContainsFunc(named, func(s yamlfile.Scalar) bool { return s.Text == proof })
	}
	var out []readiness.Requirement
	seen := map[string]bool{}
	order, _ := f.Library.Order()
	for _, id := range order {
		p, _ := f.Library.Procedure(id)
		planned, fault := f.today(id, practice)
		for _, proof := range p.Proves() {
			today, why := planned, fault
			if today != nil && today.NotApplicable != "" && f.mustHave(proof) {
				today, why = nil, "the car has packs, and vehicle.yaml describes nothing that this is about: "+today.NotApplicable
			}
			if seen[proof] && today != nil && today.NotApplicable != "" {
				continue // another procedure for the same proof applies to this car
			}
			seen[proof] = true
			out = append(out, readiness.Requirement{Proof: proof, Procedure: id, Stage: p.Stage,
				Required: isRequired(proof), Today: today, Fault: why})
		}
	}
	for _, s := range sortedShipped(shipped) {
		if !seen[s.proof] && isRequired(s.proof) {
			out = append(out, readiness.Requirement{Proof: s.proof, Stage: s.stage, Required: true,
				Fault: "the procedure that proves it, " + s.procedure + ", is not in this folder"})
		}
	}
	slices.SortStableFunc(out, func(a, b readiness.Requirement) int {
		switch {
		case a.Stage < b.Stage:
			return -1
		case a.Stage > b.Stage:
			return 1
		}
		return 0
	})
	return out
}

// essential are the proofs of the program's own procedures that every car with
// a pack needs: a section that its file forgets must not pass for a part that
// it does not have. Others, such as the pyrotechnic disconnect, may be absent.
var essential = map[string]bool{
	"joints": true, "bonding": true, "isolation_parts": true, "shutdown_cold": true, "contactor_function": true,
	"shutdown_low_energy": true, "pack_voltages": true, "isolation_pack": true, "first_closing": true,
	"weld_check": true, "emergency_off": true, "isolation_whole": true,
}

// mustHave reports whether the car needs the proof whatever its file leaves
// out.
func (f *Folder) mustHave(proof string) bool {
	packs, _, _ := f.Vehicle.Collection("packs")
	return len(packs) > 0 && essential[proof]
}

// today gives a procedure's plan as the files are now, or why there is none.
func (f *Folder) today(id string, practice bool) (*plan.Plan, string) {
	p, err := f.Plan(id, practice)
	if err != nil {
		return nil, "its plan cannot be made: " + err.Error()
	}
	return p, ""
}

type shippedProof struct{ proof, procedure, stage string }

// shippedProofs gives the proofs of the program's own procedures, read once.
var shippedProofs = sync.OnceValue(readShippedProofs)

func readShippedProofs() map[string]shippedProof {
	out := map[string]shippedProof{}
	names, err := fs.Glob(checklists.Files, "procedures/*.yaml")
	if err != nil || len(names) == 0 {
		panic("the program was built without its procedures")
	}
	for _, name := range names {
		b, err := checklists.Files.ReadFile(name)
		if err != nil {
			panic("the program was built without " + name)
		}
		y, _ := yamlfile.Parse(name, b)
		p, faults := procedure.Parse(y)
		if p == nil || faults.Errors() {
			panic("the program was built with a faulty " + name)
		}
		for _, proof := range p.Proves() {
			out[proof] = shippedProof{proof, p.ID, p.Stage}
		}
	}
	return out
}

func sortedShipped(m map[string]shippedProof) []shippedProof {
	var out []shippedProof
	for _, s := range m {
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b shippedProof) int {
		if a.proof < b.proof {
			return -1
		}
		return 1
	})
	return out
}
