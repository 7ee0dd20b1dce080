package readiness

import (
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
	latest time.Time
	began  map[string]int64 // run id: place of its first entry in the order
	start  map[string]Ref   // run id: its first entry
	works  []*Work
	ledger ledgers
}

// NewRecord begins a fold.
func NewRecord() *Record {
	return &Record{began: map[string]int64{}, start: map[string]Ref{}, ledger: newLedgers()}
}

// Apply folds one entry of a log, in the order of the log.
func (r *Record) Apply(e entry.Entry, leaf [32]byte, signer string) {
	r.seq++
	if e.Time.After(r.latest) {
		r.latest = e.Time
	}
	ref := Ref{e.Origin, e.Index, leaf}
	switch e.Kind {
	case entry.RunStart:
		id := run.ID(e.Origin, e.Index)
		r.began[id], r.start[id] = r.seq, ref
	case entry.Rework:
		r.works = append(r.works, readWork(e, ref, r.seq, signer))
	default:
		r.ledger.answer(e, leaf)
		r.ledger.apply(e, ref, r.seq, signer)
	}
}

// Works gives the recorded work on the HV system, oldest first.
func (r *Record) Works() []*Work { return r.works }

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
