package readiness

import (
	"fmt"
	"slices"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/form"
	"hvproof/internal/run"
)

// A Baseline names the commissioning runs, with whose readings later ones are
// compared. It is in force once somebody else than its signer stands behind
// it; the newest such takes the place of the ones before.
type Baseline struct {
	Ref
	Runs   []string
	Reason string
	Given  time.Time
	Signer string
	Second string // who countersigned; it counts only then
}

// Baselines gives every baseline of the log, oldest first.
func (r *Record) Baselines() []*Baseline { return r.ledger.baselines }

// Baseline gives the baseline in force, nil if there is none.
func (r *Record) Baseline() *Baseline {
	for _, b := range slices.Backward(r.ledger.baselines) {
		if b.Second != "" {
			return b
		}
	}
	return nil
}

// String says which baseline it is, and who signed it.
func (b *Baseline) String() string {
	if b == nil {
		return "none: readings are compared with the first ones"
	}
	return fmt.Sprintf("entry %d of %s, %d runs, by %s and %s", b.Index, b.Given.Format(time.DateOnly), len(b.Runs), b.Signer, b.Second)
}

// Commissioning gives the runs that the proofs that hold now rest on, in the
// order in which they began: what a baseline names where nobody chose. A run
// that failed, and of which only some items count, is left out.
func Commissioning(l Log, proofs []Proof) []string {
	rests := map[string]bool{}
	for _, p := range proofs {
		for _, i := range p.Items {
			if p.State == Holds && i.State == Holds {
				rests[i.Run] = true
			}
		}
	}
	var out []string
	for _, m := range l.Runs.Runs() {
		if rests[m.ID()] && NoBaseline(m) == "" {
			out = append(out, m.ID())
		}
	}
	return out
}

// NoBaseline says why a run cannot be part of a baseline, or nothing.
func NoBaseline(m *run.Machine) string {
	switch {
	case m.Start().Rehearsal:
		return "it is a rehearsal"
	case m.Broken() != nil:
		return fmt.Sprintf("its record contradicts itself: %v", m.Broken())
	case m.Outcome() != run.Passed:
		return "it has not passed"
	}
	return ""
}

// BaselineForm asks why these runs are the baseline, and who stands behind it
// beside its signer. people are those who may act in this log.
func BaselineForm(people []string, signer string) *form.Form {
	return form.New(
		form.Field{Key: "reason", Ask: "Why are these runs the baseline? One sentence.", Example: "commissioned, dry, packs new"},
		secondField(people, signer),
	)
}

// BaselineBody gives the entry of a baseline.
func BaselineBody(runs []string, f *form.Form) entry.Body {
	b := entry.Body{Kind: entry.Baseline}
	b.AddFamily("run", runs...)
	b.Add("reason", f.Get("reason"))
	return b
}
