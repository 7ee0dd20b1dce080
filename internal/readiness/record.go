package readiness

import (
	"math"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// A Log is everything that readiness is a function of, beside today's plans:
// the runs of a log, what else its entries say, and what events make void.
type Log struct {
	Runs   *run.History
	Record *Record
	Shop   *Shop // nil: nothing follows from events
}

// A Ref names an entry.
type Ref struct {
	Origin string
	Index  int64
	Leaf   [32]byte
}

// A Record is the fold of the entries that stand beside the runs: work on the
// HV system, open items, dispositions, sanctions, permits, meters found wrong.
// It keeps the order in which entries came and never asks a clock which of
// two was first.
type Record struct {
	seq    int64
	origin string // of the newest log
	latest time.Time
	began  map[string]int64 // run id: place of its first entry in the order
	start  map[string]Ref   // run id: its first entry
	works  []*Work
	beside []*Work            // of logs whose order to this one is not known
	put    map[[32]byte]*Work // what put works of other logs in order here, by their leaf
	ledger ledgers
}

// NewRecord begins a fold.
func NewRecord() *Record {
	return &Record{began: map[string]int64{}, start: map[string]Ref{}, put: map[[32]byte]*Work{}, ledger: newLedgers()}
}

// Apply folds one entry of a log, in the order of the log.
func (r *Record) Apply(e entry.Entry, leaf [32]byte, signer string) {
	r.seq++
	r.origin = e.Origin
	if e.Time.After(r.latest) {
		r.latest = e.Time
	}
	ref := Ref{e.Origin, e.Index, leaf}
	switch e.Kind {
	case entry.RunStart:
		id := run.ID(e.Origin, e.Index)
		r.began[id], r.start[id] = r.seq, ref
	case entry.Rework:
		w := readWork(e, ref, r.seq, signer)
		if leaf, err := entry.ParseHash(e.Body.Text("carries")); err == nil {
			r.put[leaf] = w
		}
		r.works = append(r.works, w)
	default:
		r.ledger.answer(e, leaf)
		r.ledger.apply(e, ref, r.seq, signer)
	}
}

// Beside folds an entry of a log whose order to this one cannot be known. Work
// on the HV system beats every proof, until somebody puts it in order here;
// open items are open. Nothing else of such a log counts.
func (r *Record) Beside(e entry.Entry, leaf [32]byte, signer string) {
	ref := Ref{e.Origin, e.Index, leaf}
	switch e.Kind {
	case entry.Rework:
		if theirs, err := entry.ParseHash(e.Body.Text("carries")); err == nil && r.known(theirs) {
			return // it is this log's own
		}
		w := readWork(e, ref, math.MaxInt64, signer)
		w.Beside = true
		r.beside = append(r.beside, w)
	case entry.ItemOpen, entry.ItemClose:
		r.ledger.apply(e, ref, r.seq, signer)
	}
}

func (r *Record) known(leaf [32]byte) bool {
	return slices.ContainsFunc(r.works, func(w *Work) bool { return w.Leaf == leaf })
}

// Works gives the recorded work on the HV system, oldest first, and after it
// that of other logs which nobody has put in order here.
func (r *Record) Works() []*Work { return append(slices.Clone(r.works), r.Unordered()...) }

// Unordered gives the work of logs whose order to this one is not known, and
// that nobody has put in order here with all that it makes void.
func (r *Record) Unordered() []*Work {
	return slices.DeleteFunc(slices.Clone(r.beside), func(w *Work) bool {
		here := r.put[w.Leaf]
		return here != nil && here.voidsAll(w)
	})
}

// voidsAll reports whether w makes void whatever the other work does.
func (w *Work) voidsAll(other *Work) bool {
	missing := func(p string) bool { return !slices.Contains(w.Parts, p) }
	return !slices.ContainsFunc(other.Parts, missing) && !slices.ContainsFunc(other.Voids, func(v Voiding) bool {
		return !slices.ContainsFunc(w.Voids, func(have Voiding) bool { return have.covers(v) })
	})
}

// Begin gives the first entry of a run.
func (r *Record) Begin(id string) (Ref, bool) {
	ref, ok := r.start[id]
	return ref, ok
}

// Now gives the later of a clock's time and of every entry's: a clock that
// goes backwards must not make a lapsed proof hold again.
func (r *Record) Now(clock time.Time) time.Time {
	if r.latest.After(clock) {
		return r.latest.In(clock.Location())
	}
	return clock
}

// A Work is recorded work on the HV system, or an event.
type Work struct {
	Ref
	Time   time.Time
	Signer string

	Text, Kind, By, Done, Reason, Seal string
	Run                                string // of an event: the run that it happened in
	Beside                             bool   // of another log, its order not known

	Parts  []string  // as chosen
	Values []string  // of the vehicle file that it changed
	Voids  []Voiding // what it made void, by the rules of then
	Keeps  map[string]string
	Found  []string // readings before
	Left   []string // readings after
	Photos []string // SHA-256

	seq int64
}

// A Voiding is one proof that a work made void.
type Voiding struct {
	Proof  string
	Parts  []string // what of it; empty: all
	Reason string
}

// String gives the voiding as an entry has it.
func (v Voiding) String() string {
	return strings.Join(append([]string{v.Proof}, v.Parts...), " ") + ": " + v.Reason
}

// covers reports whether v makes void all that o does.
func (v Voiding) covers(o Voiding) bool {
	if v.Proof != o.Proof || len(v.Parts) > 0 && len(o.Parts) == 0 {
		return false
	}
	return len(v.Parts) == 0 || !slices.ContainsFunc(o.Parts, func(p string) bool { return !slices.Contains(v.Parts, p) })
}

func readVoiding(text string) Voiding {
	head, reason, _ := strings.Cut(text, ": ")
	words := strings.Fields(head)
	if len(words) == 0 {
		return Voiding{}
	}
	return Voiding{words[0], words[1:], reason}
}

func readWork(e entry.Entry, ref Ref, seq int64, signer string) *Work {
	b := e.Body
	w := &Work{Ref: ref, Time: e.Time, Signer: signer, seq: seq,
		Text: b.Text("text"), Kind: b.Text("work"), By: b.Text("by"), Done: b.Text("done"), Reason: b.Text("reason"), Seal: b.Text("seal"),
		Parts: b.Family("part"), Values: b.Family("value"), Found: b.Family("found"), Left: b.Family("left"), Photos: b.Family("photo"),
		Keeps: map[string]string{}}
	for _, text := range b.Family("void") {
		w.Voids = append(w.Voids, readVoiding(text))
	}
	for _, text := range b.Family("keep") {
		proof, reason, _ := strings.Cut(text, ": ")
		w.Keeps[proof] = reason
	}
	return w
}
