package readiness

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Grants gives every sanction and permit of the log, oldest first.
func (r *Record) Grants() []*Grant { return r.ledger.grants }

// Grant gives this log's sanction or permit with the index, nil if there is
// none.
func (r *Record) Grant(index int64) *Grant {
	for _, g := range r.ledger.grants {
		if g.Index == index && g.Origin == r.origin {
			return g
		}
	}
	return nil
}

// Over says why a grant is not in force now, or nothing: it lacks its second
// signature, was ended, is of a log that was handed over, its time is over, or somebody has worked on the HV
// system since. A permit ends with its last local day. Nothing is switched by
// it.
func (r *Record) Over(g *Grant, clock time.Time) string {
	now := r.Now(clock)
	switch {
	case g.Origin != r.origin:
		return "it was of the log that this one goes on from: grant it anew"
	case g.Second == "":
		return "the second signature is missing"
	case g.Ended != "":
		return "ended: " + g.Ended
	case g.Permit && now.Format(time.DateOnly) > g.LastDay:
		return "its last day was " + g.LastDay
	case !g.Permit && !now.Before(g.Until):
		return "it was until " + g.Until.In(now.Location()).Format("2006-01-02 15:04")
	}
	for _, w := range r.Works() {
		if w.seq > g.seq {
			return fmt.Sprintf("work on the HV system was recorded since (%s)", w)
		}
	}
	return ""
}

// InForce gives the permit to energise that is in force, nil if none is.
func (r *Record) InForce(clock time.Time) *Grant {
	for i := len(r.ledger.grants) - 1; i >= 0; i-- {
		if g := r.ledger.grants[i]; g.Permit && r.Over(g, clock) == "" {
			return g
		}
	}
	return nil
}

// Sanctioned says why a live procedure of a stage must not be begun by the
// people, or nothing. Stages C and D need a sanction for test in force, for
// this procedure, that names them; stage E may also go by a permit to
// energise, unless it was forced.
func (r *Record) Sanctioned(procedure, stage string, who []string, clock time.Time) string {
	if stage < "C" {
		return ""
	}
	if p := r.InForce(clock); stage == "E" && p != nil && len(p.Forced) == 0 {
		return ""
	}
	last := ""
	for i := len(r.ledger.grants) - 1; i >= 0; i-- {
		g := r.ledger.grants[i]
		if g.Permit || g.Procedure != procedure {
			continue
		}
		why := r.Over(g, clock)
		if why == "" {
			for _, id := range who {
				if id != "" && !slices.Contains(g.People, id) {
					why = id + " is not named in it"
				}
			}
		}
		if why == "" {
			return ""
		}
		if last == "" {
			last = fmt.Sprintf("sanction %d: %s", g.Index, why)
		}
	}
	if last == "" {
		last = "there is none"
	}
	return fmt.Sprintf("live: it needs a sanction for test in force (%s): hvproof permit test %s", last, procedure)
}

// WhyNot gives every reason against a sanction for test of a live procedure:
// required proofs of stages A and B, the procedure's own prerequisites, open
// items, and nonconformances that nobody has decided about. What only waits
// for its retest is no reason: the retest itself may be live.
func WhyNot(l Log, proofs []Proof, procedure string) []string {
	var out []string
	var before []string
	for _, p := range proofs {
		if p.Procedure == procedure && p.Today != nil {
			before = p.Today.Prerequisites
		}
	}
	for _, p := range proofs {
		needed := p.Required && p.Stage < "C" || slices.Contains(before, p.Proof) || slices.Contains(before, p.Procedure)
		if needed && !p.OK() {
			out = append(out, fmt.Sprintf("%s is %s: %s", p.Proof, p.State, p.Reason))
		}
	}
	for _, i := range OpenItems(l) {
		if i.Blocks && i.Kind != stepItem {
			out = append(out, fmt.Sprintf("item %s is open: %s", i.ID(), i.Text))
		}
	}
	for _, n := range Nonconformances(l) {
		if n.Decided == nil {
			out = append(out, fmt.Sprintf("nonconformance %s (%s) is open: %s", n.ID(), n.Procedure, n.Open))
		}
	}
	return out
}

// unforceable begins the ids of the proofs that nobody can force when they
// have failed: isolation, and emergency-off in all its stages.
var unforceable = []string{"isolation", "emergency_off", "shutdown", "charging"}

// Unforceable gives the failed proofs that no permit can be forced over.
func Unforceable(proofs []Proof) []string {
	var out []string
	for _, p := range proofs {
		if p.State == Failed && slices.ContainsFunc(unforceable, func(of string) bool { return strings.HasPrefix(p.Proof, of) }) {
			out = append(out, fmt.Sprintf("%s has failed, and cannot be forced: %s", p.Proof, p.Reason))
		}
	}
	return out
}
