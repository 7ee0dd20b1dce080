package readiness

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// A Nonconformance is a requirement that was not met in a run: a fail, a
// conditional fail, or a finding. There is one for each run that has any; it
// is named by the first answer concerned. A later attempt that passed does
// not take it away: a value that recovered by itself is not explained.
type Nonconformance struct {
	Ref
	Run, Procedure string
	Paths          []string // of the steps
	Text           string   // of the first
	Findings       []string // of all
	Decided        *Disposition
	Before         string // the log's short name, where it is another one than the newest
	Open           string // what it still lacks; empty: closed
}

// Nonconformances gives every one of the log, oldest first. It is closed by a
// disposition with a cause and by a retest: every step concerned passed in a
// run begun after the disposition. Use as is, under a concession, explains a
// finding without a retest, but never a fail, and never leakage that the parts
// do not explain: that wants a new reading of the whole.
func Nonconformances(l Log) []*Nonconformance {
	var out []*Nonconformance
	failing := map[*Nonconformance]bool{}
	for _, m := range l.Runs.Runs() {
		if _, any := l.Record.ledger.first[m.ID()]; !any || m.Start().Rehearsal {
			continue
		}
		n := &Nonconformance{Run: m.ID(), Procedure: m.Plan().Procedure}
		for s := range m.Answered() {
			for i := range s.Attempts {
				a := &s.Attempts[i]
				fails := a.Decision == run.Fail || a.Decision == run.ConditionalFail
				if !concerns(a.Decision, len(a.Findings)) {
					continue
				}
				if n.Text == "" {
					start, _ := l.Record.Begin(m.ID())
					n.Ref = Ref{start.Origin, a.Index, a.Leaf}
					n.Before = l.Record.otherLog(n.Ref)
					n.Text = s.Step.Path + ": " + a.Decision
					if len(a.Findings) > 0 {
						n.Text += ", " + a.Findings[0]
					}
				}
				failing[n] = failing[n] || fails || slices.ContainsFunc(a.Findings, leaking)
				n.Paths = union(n.Paths, []string{s.Step.Path})
				n.Findings = union(n.Findings, a.Findings)
			}
		}
		if n.Text != "" {
			out = append(out, n)
		}
	}
	for _, n := range out {
		n.settle(l, failing[n])
	}
	return out
}

func (n *Nonconformance) settle(l Log, fails bool) {
	n.Decided = l.Record.ledger.dispositions[n.Leaf]
	if n.Decided == nil {
		n.Open = "nobody has decided about it: hvproof item decide " + n.ID()
		return
	}
	if n.Decided.Kind == "use-as-is" && !fails {
		return
	}
	owed := slices.Clone(n.Paths)
	for _, m := range slices.Backward(l.Runs.Runs()) {
		if len(owed) == 0 || l.Record.began[m.ID()] < n.Decided.seq {
			break // what began before it was decided is no retest
		}
		if m.Start().Rehearsal || m.Broken() != nil || m.Plan().Procedure != n.Procedure {
			continue
		}
		for s := range m.Answered() {
			if accepted(s) && len(s.Last().Findings) == 0 {
				owed = slices.DeleteFunc(owed, func(path string) bool { return path == s.Step.Path })
			}
		}
	}
	if len(owed) > 0 {
		n.Open = fmt.Sprintf("%s has not passed since it was decided", owed[0])
	}
}

// answer notes the first answer of a run that fails or has a finding.
func (l *ledgers) answer(e entry.Entry, leaf [32]byte) {
	if _, known := l.first[e.Run]; known || e.Run == "" {
		return
	}
	if decision := e.Body.Text("decision"); concerns(decision, len(e.Body.Family("finding"))) {
		l.first[e.Run] = leaf
	}
}

// concerns reports whether an answer is a matter for a nonconformance.
func concerns(decision string, findings int) bool {
	switch decision {
	case run.Fail, run.ConditionalFail:
		return true
	case run.CannotDecide:
		return false
	}
	return findings > 0
}

// Has reports whether one of the findings has the code.
func (n *Nonconformance) Has(code string) bool {
	return slices.ContainsFunc(n.Findings, func(f string) bool { return strings.HasPrefix(f, code+":") })
}

// ID names a nonconformance in commands.
func (n *Nonconformance) ID() string { return named("n", n.Index, n.Before) }

// explained reports whether a finding of a run's answer was explained by a
// disposition to use as is: the nonconformance of the run names one of its
// answers.
func (r *Record) explained(runID string, a *run.Attempt) bool {
	d := r.ledger.dispositions[a.Leaf]
	if d == nil {
		d = r.ledger.dispositions[r.ledger.first[runID]]
	}
	return d != nil && d.Kind == "use-as-is" && !slices.Contains([]string{run.Fail, run.ConditionalFail}, a.Decision) &&
		!slices.ContainsFunc(a.Findings, leaking)
}
