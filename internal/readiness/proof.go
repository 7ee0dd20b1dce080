package readiness

import (
	"fmt"
	"time"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// A State is what is known of a proof now.
type State string

// The states of a proof.
const (
	Holds         State = "holds"
	Void          State = "void"   // what it rests on has changed
	Lapsed        State = "lapsed" // its time is over
	Failed        State = "failed"
	Missing       State = "missing"
	NotApplicable State = "not applicable"
)

// A Requirement is a proof that the car's files know of.
type Requirement struct {
	Proof     string
	Procedure string     // that proves it; empty where no procedure of the folder does
	Stage     string     // "A" to "E"
	Required  bool       // power may not come on without it
	Today     *plan.Plan // the procedure's plan as the files are now; nil if there is none
	Fault     string     // why there is no plan today
}

// A Proof is the state of a requirement.
type Proof struct {
	Requirement
	State  State
	Parts  []string
	Reason string    // one sentence; also where it holds with a reservation
	Run    string    // the run that it rests on, empty if none
	Until  time.Time // zero: until work on a part
}

// OK reports whether the proof does not stand in the way.
func (p Proof) OK() bool { return p.State == Holds || p.State == NotApplicable }

// Proofs gives the state of every requirement, in their order.
func Proofs(h *run.History, reqs []Requirement, now time.Time) []Proof {
	out := make([]Proof, len(reqs))
	for i, r := range reqs {
		out[i] = judge(h, r, now)
	}
	return out
}

// Unmet gives, in plain sentences, the prerequisites of a plan that do not
// hold. A prerequisite is the id of a proof, or of a procedure and then
// means all that it proves.
func Unmet(h *run.History, reqs []Requirement, p *plan.Plan, now time.Time) []string {
	var out []string
	for _, id := range p.Prerequisites {
		known := false
		for _, r := range reqs {
			if r.Proof != id && r.Procedure != id {
				continue
			}
			known = true
			if pr := judge(h, r, now); !pr.OK() {
				out = append(out, fmt.Sprintf("prerequisite %s is %s: %s", r.Proof, pr.State, pr.Reason))
			}
		}
		if !known {
			out = append(out, fmt.Sprintf("prerequisite %s is missing: no procedure of this car proves it", id))
		}
	}
	return out
}

func judge(h *run.History, r Requirement, now time.Time) Proof {
	p := Proof{Requirement: r, State: Missing}
	if r.Today == nil {
		p.Reason = r.Fault
		return p
	}
	p.Parts = parts(r.Today, r.Proof)
	if r.Today.NotApplicable != "" {
		p.State, p.Reason = NotApplicable, r.Today.NotApplicable
		return p
	}
	m := newest(h, r.Proof)
	if m == nil {
		p.Reason = "hvproof run " + r.Procedure
		return p
	}
	p.Run = m.ID()
	p.State, p.Reason = outcome(m)
	if p.State != Holds {
		return p
	}
	if why := changed(m.Plan(), r.Today); why != "" {
		p.State, p.Reason = Void, why
		return p
	}
	if days := holdsDays(m.Plan(), r.Proof); days > 0 {
		p.Until = m.Ended().AddDate(0, 0, days)
		if now.After(p.Until) {
			p.State, p.Reason = Lapsed, fmt.Sprintf("run %s was %d days ago or more", m.ID(), days)
		}
	}
	return p
}

// newest gives the newest run that says something about the proof.
func newest(h *run.History, proof string) *run.Machine {
	runs := h.Runs()
	for i := len(runs) - 1; i >= 0; i-- {
		m := runs[i]
		if m.Start().Rehearsal || (m.Outcome() == run.Open && m.Broken() == nil) {
			continue
		}
		for _, pr := range m.Plan().Proves {
			if pr.ID == proof {
				return m
			}
		}
	}
	return nil
}

// outcome tells what a run that has an outcome establishes.
func outcome(m *run.Machine) (State, string) {
	switch {
	case m.Broken() != nil:
		return Failed, fmt.Sprintf("the record of run %s contradicts itself: %v", m.ID(), m.Broken())
	case m.Outcome() != run.Passed:
		return Failed, fmt.Sprintf("run %s: %s", m.ID(), m.Reason())
	}
	answered, reserved := 0, ""
	for _, s := range m.Steps() {
		if s.Decision == run.NotApplicable || s.Step.Path == "" {
			continue
		}
		answered += len(s.Attempts)
		if s.Decision == run.ConditionalPass {
			reserved = fmt.Sprintf("with a conditional pass at %s, which the procedure accepts", s.Step.Path)
		}
	}
	if answered == 0 {
		return Missing, fmt.Sprintf("no step of run %s applied to the car", m.ID())
	}
	if f := m.Findings(); len(f) > 0 {
		return Failed, fmt.Sprintf("run %s has a finding that nobody has explained: %s", m.ID(), f[0])
	}
	return Holds, reserved
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
