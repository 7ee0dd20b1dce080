package readiness

import (
	"fmt"
	"slices"
	"time"

	"hvproof/internal/plan"
)

// A State is what is known of a proof now.
type State string

// The states of a proof.
const (
	Holds         State = "holds"
	Void          State = "void"   // what it rests on has changed
	Lapsed        State = "lapsed" // its time is over, or a meter was found wrong
	Failed        State = "failed"
	Missing       State = "missing"
	NotApplicable State = "not applicable"
)

// weight orders states: of the items of a proof the heaviest is the proof's.
var weight = []State{NotApplicable, Holds, Missing, Lapsed, Void, Failed}

// A Requirement is a proof that the car's files know of.
type Requirement struct {
	Proof     string
	Procedure string     // that proves it; empty where no procedure of the folder does
	Stage     string     // "A" to "E"
	Required  bool       // power may not come on without it
	Today     *plan.Plan // the procedure's plan as the files are now; nil if there is none
	Fault     string     // why there is no plan today
}

// Parts gives the parts that the proof is about, as its procedure claims them.
func (r Requirement) Parts() []string {
	if r.Today == nil {
		return nil
	}
	return slices.Clone(parts(r.Today, r.Proof))
}

func union(out, more []string) []string {
	for _, m := range more {
		if !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}

// A Proof is the state of a requirement.
type Proof struct {
	Requirement
	State  State
	Reason string    // one sentence; also where it holds with a reservation
	Run    string    // the newest run that it rests on, empty if none
	Until  time.Time // zero: until work on a part
	Items  []Item    // what the state is put together from
}

// An Item is the state of one turn of the procedure's loops, or of what
// stands in no loop (plan.Frame): the least that can be tested again.
type Item struct {
	Item   string
	State  State
	Reason string
	Run    string
	Until  time.Time
}

// OK reports whether the proof does not stand in the way.
func (p Proof) OK() bool { return p.State == Holds || p.State == NotApplicable }

// Owed gives the items that have to be tested again.
func (p Proof) Owed() []string {
	var out []string
	for _, i := range p.Items {
		if i.State != Holds {
			out = append(out, i.Item)
		}
	}
	return out
}

// Proofs gives the state of every requirement, in their order.
func Proofs(l Log, reqs []Requirement, clock time.Time) []Proof {
	j := newJudge(l, clock)
	out := make([]Proof, len(reqs))
	for i, r := range reqs {
		out[i] = j.proof(r)
	}
	return out
}

// Unmet gives, in plain sentences, the prerequisites of a plan that do not
// hold. A prerequisite is the id of a proof, or of a procedure and then
// means all that it proves.
func Unmet(l Log, reqs []Requirement, p *plan.Plan, clock time.Time) []string {
	j := newJudge(l, clock)
	var out []string
	for _, id := range p.Prerequisites {
		known := false
		for _, r := range reqs {
			if r.Proof != id && r.Procedure != id {
				continue
			}
			known = true
			if pr := j.proof(r); !pr.OK() {
				out = append(out, fmt.Sprintf("prerequisite %s is %s: %s", r.Proof, pr.State, pr.Reason))
			}
		}
		if !known {
			out = append(out, fmt.Sprintf("prerequisite %s is missing: no procedure of this car proves it", id))
		}
	}
	return out
}

// proof puts the state of a requirement together from its items.
func (j *judge) proof(r Requirement) Proof {
	p := Proof{Requirement: r, State: Missing}
	if r.Today == nil {
		p.Reason = r.Fault
		return p
	}
	if r.Today.NotApplicable != "" {
		p.State, p.Reason = NotApplicable, r.Today.NotApplicable
		return p
	}
	p.Items = j.items(r)
	p.State = NotApplicable
	for _, i := range p.Items {
		if slices.Index(weight, i.State) > slices.Index(weight, p.State) {
			p.State, p.Reason = i.State, i.Reason
		}
		if i.State == Holds && p.State == Holds && p.Reason == "" {
			p.Reason = i.Reason
		}
		if i.Run != "" && (p.Run == "" || j.log.Record.began[i.Run] > j.log.Record.began[p.Run]) {
			p.Run = i.Run
		}
		if !i.Until.IsZero() && (p.Until.IsZero() || i.Until.Before(p.Until)) {
			p.Until = i.Until
		}
	}
	switch {
	case len(p.Items) == 0:
		p.State, p.Reason = Missing, "no step of "+r.Procedure+" applies to this car"
	case p.State == Missing && p.Run == "":
		p.Reason = "hvproof run " + r.Procedure
	}
	if p.State != Holds && p.State != Lapsed {
		p.Until = time.Time{}
	}
	return p
}

func parts(p *plan.Plan, proof string) []string {
	for _, pr := range p.Proves {
		if pr.ID == proof {
			return pr.Parts
		}
	}
	return nil
}

func holdsDays(p *plan.Plan, proof string) int {
	for _, pr := range p.Proves {
		if pr.ID == proof {
			return pr.HoldsDays
		}
	}
	return 0
}
