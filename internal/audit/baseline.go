package audit

import (
	"strconv"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// A baseline is what later runs are compared with.
type baseline struct {
	first     map[string]*run.Machine // by procedure
	named     map[string]*run.Machine // by procedure, of the baseline in force
	entries   []signed
	confirmed map[place]bool
}

// signed is a baseline entry and who signed it.
type signed struct {
	entry.Entry
	signer string
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

// set takes note of a baseline entry. It is in force once somebody else
// stands behind it: one person alone cannot choose what all is compared with.
func (b *baseline) set(a *Audit, e entry.Entry, signer string) {
	if n := len(b.entries); n > 0 {
		a.remark(e.Index, "baseline-replaced", "takes the place of the baseline of entry %d", b.entries[n-1].Index)
	}
	b.entries = append(b.entries, signed{e, signer})
	for _, id := range e.Family("run") {
		m := a.history.Run(id)
		switch {
		case m == nil:
			a.remark(e.Index, "baseline-unknown-run", "names the run %s, which is not in this log", id)
		case m.Start().Rehearsal:
			a.remark(e.Index, "baseline-unknown-run", "names the run %s, which is a rehearsal", id)
		}
	}
}

// confirm takes note of a countersignature, and puts the newest baseline that
// has one in force.
func (b *baseline) confirm(h *run.History, e entry.Entry, signer string) {
	of, err := strconv.ParseInt(e.Text("entry"), 10, 64)
	if err != nil {
		return
	}
	for _, s := range b.entries {
		if s.Origin == e.Origin && s.Index == of && s.signer != signer {
			b.confirmed[place{e.Origin, of}] = true
		}
	}
	for _, s := range b.entries {
		if b.confirmed[place{s.Origin, s.Index}] {
			b.named = inForce(h, s.Family("run"))
		}
	}
}

// inForce gives for each procedure the named run to compare with: the newest
// whole one, or the newest retest where no whole one is named.
func inForce(h *run.History, ids []string) map[string]*run.Machine {
	out := map[string]*run.Machine{}
	for _, id := range ids {
		m := h.Run(id)
		if m == nil || m.Start().Rehearsal {
			continue
		}
		old := out[m.Plan().Procedure]
		if old == nil || len(m.Plan().Retest) == 0 || len(old.Plan().Retest) > 0 {
			out[m.Plan().Procedure] = m
		}
	}
	return out
}

// unconfirmed gives the baselines that nobody has countersigned.
func (b *baseline) unconfirmed() (out []entry.Entry) {
	for _, s := range b.entries {
		if !b.confirmed[place{s.Origin, s.Index}] {
			out = append(out, s.Entry)
		}
	}
	return out
}
