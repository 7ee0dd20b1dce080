package readiness

import (
	"fmt"
	"time"

	"hvproof/internal/entry"
)

// ledgers are what entries other than runs and work on the HV system say.
// Entries that name another one do so by its leaf hash, which is the key.
type ledgers struct {
	items        []*OpenItem
	itemAt       map[[32]byte]*OpenItem
	closed       map[[32]byte]string   // by item-close, or carried on: what was said
	stands       map[[32]byte][32]byte // for an answer of a log before: nonconformance entry, answer
	closings     []*Closing
	dispositions map[[32]byte]*Disposition
	grants       []*Grant
	grantAt      map[[32]byte]*Grant
	baselines    []*Baseline
	baselineAt   map[[32]byte]*Baseline
	faults       []*MeterFault
	first        map[string][32]byte // run id: leaf of its first answer that fails or has a finding
}

func newLedgers() ledgers {
	return ledgers{itemAt: map[[32]byte]*OpenItem{}, closed: map[[32]byte]string{}, stands: map[[32]byte][32]byte{},
		dispositions: map[[32]byte]*Disposition{}, first: map[string][32]byte{}, grantAt: map[[32]byte]*Grant{}, baselineAt: map[[32]byte]*Baseline{}}
}

// A Disposition is what was decided about a nonconformance.
type Disposition struct {
	Ref
	Signer     string
	Kind       string // "rework", "repair", "use-as-is", "scrap"
	Cause      string // or "not found", with Checks
	Checks     []string
	Concession string // who granted it, and until when
	Text       string
	seq        int64
}

// A MeterFault says that an instrument was found wrong.
type MeterFault struct {
	Ref
	Signer               string
	Instrument, Function string
	Since                string  // local date of its last good check; empty: always
	Factor, Offset       float64 // it shows Factor × true + Offset, SI; Factor 0: not known
	Text                 string
	seq                  int64
}

func (l *ledgers) apply(e entry.Entry, ref Ref, seq int64, signer string) {
	b := e.Body
	named := func() ([32]byte, bool) {
		leaf, err := entry.ParseHash(b.Text("leaf"))
		return leaf, err == nil
	}
	switch e.Kind {
	case entry.ItemOpen:
		i := &OpenItem{Ref: ref, Kind: b.Text("item"), Text: b.Text("text"), Parts: b.Family("part"),
			Blocks: b.Text("blocks") != "nothing", Opened: e.Time, By: signer, seq: seq}
		l.items, l.itemAt[ref.Leaf] = append(l.items, i), i
		if old, err := entry.ParseHash(b.Text("carries")); err == nil {
			l.closed[old] = fmt.Sprintf("carried on as entry %d", ref.Index)
		}
	case entry.Nonconformance:
		if leaf, ok := named(); ok {
			l.stands[ref.Leaf] = leaf
		}
	case entry.ItemClose:
		if leaf, ok := named(); ok {
			l.close(e, ref, leaf, signer)
		}
	case entry.Note:
		l.file(e, signer)
	case entry.Disposition:
		if leaf, ok := named(); ok {
			if answer, carried := l.stands[leaf]; carried {
				leaf = answer
			}
			l.dispositions[leaf] = &Disposition{Ref: ref, Signer: signer, Kind: b.Text("disposition"), Cause: b.Text("cause"),
				Checks: b.Family("check"), Concession: b.Text("concession"), Text: b.Text("text"), seq: seq}
		}
	case entry.Sanction, entry.Permit:
		g := readGrant(e, ref, seq, signer)
		l.grants, l.grantAt[ref.Leaf] = append(l.grants, g), g
	case entry.Baseline:
		n := &Baseline{Ref: ref, Runs: b.Family("run"), Reason: b.Text("reason"), Given: e.Time, Signer: signer}
		l.baselines, l.baselineAt[ref.Leaf] = append(l.baselines, n), n
	case entry.Countersign:
		if leaf, ok := named(); ok {
			l.countersign(leaf, signer)
		}
	case entry.PermitEnd:
		if leaf, ok := named(); ok && l.grantAt[leaf] != nil {
			l.grantAt[leaf].Ended = b.Text("reason")
		}
	case entry.MeterFault:
		f := &MeterFault{Ref: ref, Signer: signer, Instrument: b.Text("instrument"), Function: b.Text("function"),
			Since: b.Text("since"), Text: b.Text("text"), seq: seq}
		f.Factor, _ = b.Number("factor")
		f.Offset, _ = b.Number("offset")
		l.faults = append(l.faults, f)
	}
}

// countersign lets another person than its signer stand behind a grant or a
// baseline.
func (l *ledgers) countersign(leaf [32]byte, signer string) {
	if g := l.grantAt[leaf]; g != nil && signer != g.Signer {
		g.Second = signer
	}
	if b := l.baselineAt[leaf]; b != nil && signer != b.Signer {
		b.Second = signer
	}
}

// A Grant is a sanction for test or a permit to energise.
type Grant struct {
	Ref
	Permit     bool   // a permit to energise; else a sanction for test
	Procedure  string // of a sanction
	People     []string
	Barrier    string
	Until      time.Time // of a sanction
	LastDay    string    // of a permit: local date
	Proofs     []string
	Conditions []string
	Forced     []string // of a permit: "PROOF: state"
	Reason     string   // why it was forced
	Copy       string   // where a second copy of the log's checkpoint is
	Root       [32]byte // of the log before it: with the proofs, what it stands on
	Given      time.Time
	Signer     string
	Second     string // who countersigned; it counts only then
	Ended      string // why it was ended, empty if it was not
	seq        int64
}

func readGrant(e entry.Entry, ref Ref, seq int64, signer string) *Grant {
	b := e.Body
	g := &Grant{Ref: ref, Permit: e.Kind == entry.Permit, Procedure: b.Text("procedure"), People: b.Family("person"),
		Barrier: b.Text("barrier"), LastDay: "", Proofs: b.Family("proof"), Conditions: b.Family("condition"),
		Forced: b.Family("forced"), Reason: b.Text("reason"), Copy: b.Text("copy"), Root: e.Root, Given: e.Time, Signer: signer, seq: seq}
	if g.Permit {
		g.LastDay = b.Text("until")
	} else if t, err := time.Parse(time.RFC3339, b.Text("until")); err == nil {
		g.Until = t
	}
	return g
}
