package checklists_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/readiness"
	"hvproof/internal/rework"
)

// claims gives the proofs of a car with the parts that they claim.
func claims(t *testing.T, f folder) (proofs []rework.Proof, reqs []readiness.Requirement) {
	t.Helper()
	order, problems := f.lib.Order()
	require.Empty(t, problems)
	for _, id := range order {
		p := f.plan(t, id)
		for _, pr := range p.Proves {
			if p.NotApplicable == "" {
				proofs = append(proofs, rework.Proof{ID: pr.ID, Parts: pr.Parts})
				reqs = append(reqs, readiness.Requirement{Proof: pr.ID, Procedure: id, Stage: p.Stage, Required: true, Today: p})
			}
		}
	}
	return proofs, reqs
}

// Both cars, every kind of work on every part: whatever is touched, no proof
// about that part stands unless the file says so with a reason, and a scope
// that is named is one of the proof's own parts.
func TestReworkOnBothCars(t *testing.T) {
	book, problems := rework.Parse(parse(t, "rework.yaml"))
	require.Empty(t, problems)
	for name, f := range cars(t) {
		proofs, _ := claims(t, f)
		require.NotEmpty(t, proofs)
		for _, w := range book.Works() {
			for _, part := range f.car.Parts() {
				said := map[string]rework.Effect{}
				for _, e := range book.Effects(f.car, w.ID, []string{part}, proofs) {
					said[e.Proof] = e
					assert.NotEmpty(t, e.Reason)
				}
				for _, p := range proofs {
					e, spoken := said[p.ID]
					for _, scope := range e.Parts {
						assert.Contains(t, p.Parts, scope, "%s, %s on %s: %s", name, w.ID, part, p.ID)
					}
					for _, about := range p.Parts {
						assert.True(t, about != part || spoken, "%s, %s on %s: %s is not spoken of", name, w.ID, part, p.ID)
					}
				}
			}
		}
	}
}

// The second car has one pack, no interlock, no pyro and no monitor: where
// rework.yaml names only the interlock's row, all of its shutdown circuit is
// to be done again.
func TestOldBessModuleSwapped(t *testing.T) {
	book, problems := rework.Parse(parse(t, "rework.yaml"))
	require.Empty(t, problems)
	f := cars(t)["old bess"]
	proofs, reqs := claims(t, f)
	voids := map[string][]string{}
	for _, e := range book.Effects(f.car, "module_swapped", []string{"packs.main"}, proofs) {
		if !e.Kept {
			voids[e.Proof] = e.Parts
		}
	}
	assert.Equal(t, []string{"packs.main"}, voids["isolation_pack"])
	assert.Equal(t, []string{"packs.main"}, voids["pack_voltages"])
	assert.Contains(t, voids, "isolation_whole")
	assert.Contains(t, voids, "emergency_off")
	assert.NotContains(t, voids, "precharge")
	assert.NotContains(t, voids, "design_review")

	// From nothing proven, the retest plan is every procedure once, whole, in
	// an order of prerequisites.
	var missing []readiness.Proof
	for _, r := range reqs {
		p := readiness.Proof{Requirement: r, State: readiness.Missing}
		for _, item := range r.Today.ItemList() {
			p.Items = append(p.Items, readiness.Item{Item: item, State: readiness.Missing})
		}
		missing = append(missing, p)
	}
	steps, blocked := readiness.RetestPlan(missing)
	require.Empty(t, blocked)
	done := map[string]bool{}
	for _, s := range steps {
		assert.True(t, s.Whole, s.Plan.Procedure)
		for _, need := range s.Plan.Prerequisites {
			for _, r := range reqs {
				if r.Proof == need || r.Procedure == need {
					assert.True(t, done[r.Procedure], "%s before %s", s.Plan.Procedure, need)
				}
			}
		}
		done[s.Plan.Procedure] = true
	}
	assert.Len(t, steps, len(done))
}
