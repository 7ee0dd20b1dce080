package audit

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/internal/run"
)

// A Remark is something about conduct that a reader of the log should know.
type Remark struct {
	Log      string // origin of the log
	Entry    int64  // the entry that it is about
	Code     string // as in the package comment
	Sentence string
}

// An Audit is the fold of the entries of a log, and of those that it goes on
// from, into remarks. Make it with New, give it every entry of the oldest log
// in order, then those of the next, and ask for Remarks at the end.
type Audit struct {
	history *run.History
	remarks []Remark
	logs    []string          // origins, oldest first
	sizes   map[string]int64  // of the logs
	began   map[string]string // run, the log that it began in

	current                    // of the newest log
	followed map[string]string // run, the run that replaced it
	agains   map[string][]entry.Entry
	strange  map[string]bool // runs that hold an entry no run would write
	lapsed   map[[2]string]bool

	meters   map[string]meterSeen
	files    map[string]bool
	baseline baseline
	blob     func(digest [32]byte) ([]byte, error)
}

// current is what is known of one log alone.
type current struct {
	origin   string
	people   people.Register
	last     entry.Entry // the newest entry
	seen     bool
	setClock span
	seal     seal
	at       map[int64]time.Time // times of entries that can be witnessed
}

// A span is how many entries something is true of, from the first to the last.
type span struct{ first, last, count int64 }

// New begins an audit. blob gives what the entries name by SHA-256.
func New(blob func(digest [32]byte) ([]byte, error)) *Audit {
	return &Audit{
		history: run.NewHistory(blob), sizes: map[string]int64{}, began: map[string]string{},
		followed: map[string]string{}, agains: map[string][]entry.Entry{}, strange: map[string]bool{},
		lapsed: map[[2]string]bool{}, meters: map[string]meterSeen{}, files: map[string]bool{},
		baseline: newBaseline(), blob: blob,
	}
}

// History gives the runs of the entries so far.
func (a *Audit) History() *run.History { return a.history }

// Observe folds the next entry. It has the shape of
// [ledger.VerifyOptions.Observer]; what it finds in a log with faults is only
// as good as the log.
func (a *Audit) Observe(_ int64, e entry.Entry, signer string, raw []byte) {
	if a.origin != e.Origin {
		a.endOfLog()
		a.current = current{origin: e.Origin, at: map[int64]time.Time{}}
		a.logs = append(a.logs, e.Origin)
	}
	a.sizes[e.Origin]++
	a.log(e, signer)
	a.seal.add(e.Index, signer)
	// What may not be signed is ledger's to say; the register then stays as it is.
	_ = a.people.Apply(e, signer)
	if e.Kind == entry.RunStart {
		a.runStart(e, ledger.Leaf(raw), signer)
	} else {
		a.runEntry(e, ledger.Leaf(raw), signer)
	}
	a.last, a.seen = e, true
}

func (a *Audit) remark(index int64, code, format string, args ...any) {
	a.remarks = append(a.remarks, Remark{a.origin, index, code, fmt.Sprintf(format, args...)})
}

// Remarks gives all remarks on the entries observed so far, by log, then by
// entry, then by code. It may be called again after further entries.
func (a *Audit) Remarks() []Remark {
	end := *a
	end.remarks = slices.Clone(a.remarks)
	end.atTheEnd()
	slices.SortStableFunc(end.remarks, func(x, y Remark) int {
		return cmp.Or(cmp.Compare(slices.Index(a.logs, x.Log), slices.Index(a.logs, y.Log)), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Code, y.Code))
	})
	return slices.Compact(end.remarks)
}

// endOfLog finds what can only be said of a log when it has no further
// entries.
func (a *Audit) endOfLog() {
	if a.setClock.count > 0 {
		a.remark(a.setClock.first, "set-clock", "%d entries, from %d to %d, were made with a clock that was set by hand",
			a.setClock.count, a.setClock.first, a.setClock.last)
	}
	for _, p := range a.people.Pending() {
		index, _ := a.people.Invitation(p.ID)
		a.remark(index, "not-accepted", "%s was introduced by %s and never accepted with a key", p.ID, p.IntroducedBy)
	}
}

// atTheEnd finds what can only be said when there are no further entries at
// all.
func (a *Audit) atTheEnd() {
	a.endOfLog()
	for _, w := range a.people.Warnings() {
		a.remark(a.last.Index, "few-releasers", "%s", w)
	}
	for _, e := range a.baseline.unconfirmed() {
		a.origin = e.Origin
		a.remark(e.Index, "baseline-not-countersigned", "nobody but its signer stands behind this baseline")
	}
	for i, m := range a.history.Runs() {
		a.origin = a.began[m.ID()]
		a.wholeRun(i)
	}
}

// A Seal says how far the log rests on people: a later signature also fixes
// every entry before it.
type Seal struct {
	Signer string // who signed the newest entry
	Others int64  // entries before this index are fixed by somebody else's later signature as well
}

// Seal gives who stands behind the newest entries of the newest log. Those from Others on rest
// on the signer named and on the log's own key alone.
func (a *Audit) Seal() Seal { return Seal{a.seal.signer, a.seal.others} }

type seal struct {
	signer string
	others int64
}

func (s *seal) add(index int64, signer string) {
	if s.signer != "" && s.signer != signer {
		s.others = index
	}
	s.signer = signer
}
