package readiness

import (
	"math"
	"slices"
	"time"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A Retest is one procedure to be run, cut down to what is owed.
type Retest struct {
	Plan    *plan.Plan // cut down to Items
	Items   []string   // owed; plan.Frame is what stands in no loop
	Whole   bool       // all of the procedure
	Proofs  []string   // that it makes hold
	Why     string     // the first reason
	Minutes int        // an estimate
	Roles   []string   // of the instruments
}

// RetestPlan gives the least that must be run so that every required proof
// holds, in an order in which every prerequisite holds before it is needed:
// for each required proof that does not hold, and for each prerequisite on the
// way that does not, its procedure with the items that are owed. blocked
// names proofs that no procedure of the folder can give.
func RetestPlan(proofs []Proof) (steps []Retest, blocked []string) {
	need := map[string]bool{} // procedure
	var want func(p Proof)
	want = func(p Proof) {
		if p.OK() {
			return
		}
		if p.Today == nil {
			if !slices.Contains(blocked, p.Proof) {
				blocked = append(blocked, p.Proof)
			}
			return
		}
		if need[p.Procedure] {
			return
		}
		need[p.Procedure] = true
		for _, id := range p.Today.Prerequisites {
			for _, o := range proofs {
				if o.Proof == id || o.Procedure == id {
					want(o)
				}
			}
		}
	}
	for _, p := range proofs {
		if p.Required {
			want(p)
		}
	}
	for _, id := range ordered(proofs, need) {
		steps = append(steps, retest(proofs, id))
	}
	return steps, blocked
}

// RetestOf gives what is owed of one procedure; ok is false where nothing is.
func RetestOf(proofs []Proof, procedure string) (Retest, bool) {
	owed := slices.ContainsFunc(proofs, func(p Proof) bool { return p.Procedure == procedure && p.Today != nil && !p.OK() })
	if !owed {
		return Retest{}, false
	}
	return retest(proofs, procedure), true
}

// ordered gives the procedures in an order of their prerequisites: each time
// the first, in the order of the requirements, whose prerequisites are behind
// it. package procedure has proven that there is one.
func ordered(proofs []Proof, need map[string]bool) []string {
	var out []string
	done := map[string]bool{}
	for len(out) < len(need) {
		before := len(out)
		for _, p := range proofs {
			if !need[p.Procedure] || done[p.Procedure] {
				continue
			}
			waits := slices.ContainsFunc(p.Today.Prerequisites, func(id string) bool {
				return slices.ContainsFunc(proofs, func(o Proof) bool {
					return (o.Proof == id || o.Procedure == id) && o.Procedure != p.Procedure && need[o.Procedure] && !done[o.Procedure]
				})
			})
			if !waits {
				done[p.Procedure], out = true, append(out, p.Procedure)
				break
			}
		}
		if len(out) == before {
			return out // a circle: check refuses such a folder
		}
	}
	return out
}

func retest(proofs []Proof, procedure string) Retest {
	var r Retest
	var today *plan.Plan
	for _, p := range proofs {
		if p.Procedure != procedure || p.Today == nil || p.OK() {
			continue
		}
		today = p.Today
		r.Proofs = append(r.Proofs, p.Proof)
		r.Items = union(r.Items, p.Owed())
		if r.Why == "" {
			r.Why = p.Reason
		}
	}
	r.Plan = today
	if cut, err := today.Restrict(r.Items); err == nil {
		r.Plan = cut
	}
	r.Whole = len(r.Plan.Retest) == 0
	r.Minutes, r.Roles = Minutes(r.Plan), run.Roles(r.Plan)
	return r
}

// How long steps take, from the workshop (common practice, no source): with
// two people, one reading aloud.
const (
	perRun      = 6 * time.Minute // people, gloves, meters, sign-out
	perReading  = 75 * time.Second
	perSaid     = 25 * time.Second
	perHold     = 3 * time.Minute
	perWitness  = 10 * time.Second
	perNewState = 40 * time.Second
)

// Minutes estimates how long a run of the plan takes.
func Minutes(p *plan.Plan) int {
	t := perRun
	state := map[string]string{}
	for i := range p.Steps {
		s := &p.Steps[i]
		if s.NotApplicable != "" {
			continue
		}
		switch s.Kind {
		case plan.Measure, plan.Time:
			t += perReading
		case plan.Confirm, plan.Observe:
			t += perSaid
		case plan.Hold:
			t += perHold
		case plan.Wait:
			t += time.Duration(s.Seconds * float64(time.Second))
		}
		if s.Witness {
			t += perWitness
		}
		for _, st := range s.State {
			if state[st.Name] != st.Value {
				state[st.Name] = st.Value
				t += perNewState
			}
		}
	}
	return int(math.Ceil(t.Minutes()))
}
