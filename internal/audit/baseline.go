package audit

import (
	"strconv"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// A baseline is what later runs are compared with.
type baseline struct {
	first     map[string]*run.Machine // by procedure
	named     map[string]*run.Machine // by procedure, of the newest baseline entry
	entries   []entry.Entry
	confirmed map[place]bool
}

// A place is an entry of a log.
type place struct {
	log   string
	index int64
}

func newBaseline() baseline {
	return baseline{first: map[string]*run.Machine{}, confirmed: map[place]bool{}}
}

// of gives the run to compare one of the procedure with, nil if there is none.
func (b *baseline) of(procedure string) *run.Machine {
	if m := b.named[procedure]; m != nil {
		return m
	}
	return b.first[procedure]
}

// began takes note of a run that is no rehearsal.
func (b *baseline) began(m *run.Machine) {
	if b.first[m.Plan().Procedure] == nil {
		b.first[m.Plan().Procedure] = m
	}
}

// set puts the runs that a baseline entry names in force.
func (b *baseline) set(a *Audit, e entry.Entry) {
	if n := len(b.entries); n > 0 {
		a.remark(e.Index, "baseline-replaced", "takes the place of the baseline of entry %d", b.entries[n-1].Index)
	}
	b.entries = append(b.entries, e)
	b.named = map[string]*run.Machine{}
	for _, id := range e.Family("run") {
		m := a.history.Run(id)
		switch {
		case m == nil:
			a.remark(e.Index, "baseline-unknown-run", "names the run %s, which is not in this log", id)
		case m.Start().Rehearsal:
			a.remark(e.Index, "baseline-unknown-run", "names the run %s, which is a rehearsal", id)
		default:
			b.named[m.Plan().Procedure] = m
		}
	}
}

// confirm takes note of a countersignature.
func (b *baseline) confirm(e entry.Entry) {
	if of, err := strconv.ParseInt(e.Text("entry"), 10, 64); err == nil {
		b.confirmed[place{e.Origin, of}] = true
	}
}

// unconfirmed gives the baselines that nobody has countersigned.
func (b *baseline) unconfirmed() (out []entry.Entry) {
	for _, e := range b.entries {
		if !b.confirmed[place{e.Origin, e.Index}] {
			out = append(out, e)
		}
	}
	return out
}
