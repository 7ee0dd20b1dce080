package audit

import (
	"strconv"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// lateWitness is how long after an entry its witness may sign before it is
// remarked on: the time of walking round the car and typing a passphrase.
const lateWitness = 5 * time.Minute

// log finds what one entry says of the log and of itself.
func (a *Audit) log(e entry.Entry, signer string) {
	if a.seen && e.Time.Before(a.last.Time) {
		a.remark(e.Index, "clock-backwards", "dated %s before entry %d: the clock went backwards",
			duration(a.last.Time.Sub(e.Time)), a.last.Index)
	}
	if strings.HasSuffix(e.Version, " set-clock") {
		if a.setClock.count == 0 {
			a.setClock.first = e.Index
		}
		a.setClock.last = e.Index
		a.setClock.count++
	}
	switch e.Kind {
	case entry.Start:
		a.predecessor(e)
	case entry.Join:
		a.lookAlike(e)
	case entry.Loss:
		a.remark(e.Index, "loss", "entries were lost: this device remembered %s; reason: %s", e.Text("log-size"), e.Text("reason"))
	case entry.HandOver:
		a.remark(e.Index, "hand-over", "handed over from %s with %s entries to device %s", e.Text("from"), e.Text("log-size"), e.Text("device"))
	case entry.Baseline:
		a.baseline.set(a, e, signer)
	case entry.Countersign:
		a.baseline.confirm(a.history, e, signer)
	case entry.Reading, entry.Statement, entry.Computed:
		a.at[e.Index] = e.Time
		a.answer(e)
	case entry.Wait, entry.Capture:
		a.at[e.Index] = e.Time
	case entry.Witness:
		a.witness(e)
	}
}

// predecessor says what entry 0 says of the log before.
func (a *Audit) predecessor(e entry.Entry) {
	p := e.Text("predecessor")
	has, here := a.sizes[p]
	size, err := strconv.ParseInt(e.Text("predecessor-size"), 10, 64)
	switch {
	case p == "unproven":
		a.remark(e.Index, "predecessor", "there was a log before this one, and nothing proves what it said")
	case p == "none":
	case !here:
		a.remark(e.Index, "predecessor", "the log goes on from %s, whose %s entries are not here", p, orNothing(e.Text("predecessor-size")))
	case err != nil:
		a.remark(e.Index, "predecessor", "the log goes on from %s, and does not say from which of its entries", p)
	case has > size:
		a.remark(e.Index, "went-on", "the log %s was handed over with %d entries, and went on by itself to %d", p, size, has)
	}
}

// answer finds what an answer says about how it came to be.
func (a *Audit) answer(e entry.Entry) {
	if e.Text("confirmed") != "" {
		a.remark(e.Index, "confirmed-after-asking", "run %s, %s: %q looked like a slip, was asked back and confirmed", e.Run, e.Path, e.Text("text"))
	}
	if corrects, ok := e.Get("corrects"); ok {
		a.remark(e.Index, "corrected", "run %s, %s: corrects entry %s", e.Run, e.Path, corrects)
	}
	if at, ok := e.Get("read-at"); ok {
		sentence := "run %s, %s: taken on paper at %s"
		if t, err := time.Parse(time.RFC3339Nano, at); err == nil {
			sentence += ", " + duration(e.Time.Sub(t)) + " before it was entered"
		}
		a.remark(e.Index, "read-on-paper", sentence, e.Run, e.Path, at)
	}
	if s := a.step(e); e.Text("decision") == run.ConditionalPass && s != nil && s.ConditionalPass {
		a.remark(e.Index, "conditional-pass", "run %s, %s: meets its limit by less than the uncertainty, which the procedure accepts", e.Run, e.Path)
	}
}

// witness states how long after an answer its witness signed, if that was long.
func (a *Audit) witness(e entry.Entry) {
	of, err := strconv.ParseInt(e.Text("entry"), 10, 64)
	if err != nil {
		return // the entry's codec lets only numbers through
	}
	at, ok := a.at[of]
	if late := e.Time.Sub(at); ok && late > lateWitness {
		a.remark(e.Index, "late-witness", "run %s, %s: the witness signed %s after entry %d", e.Run, e.Path, duration(late), of)
	}
}

// duration prints a time span as a person would say it: never in nanoseconds.
func duration(d time.Duration) string {
	switch {
	case d < time.Second:
		return "less than a second"
	case d < 2*time.Minute:
		return d.Round(time.Second).String()
	case d < 48*time.Hour:
		return strings.TrimSuffix(d.Round(time.Minute).String(), "0s")
	}
	return strconv.Itoa(int(d.Hours()/24)) + " days"
}

// local gives the time of an entry in the zone in which it was made.
func local(e entry.Entry, t time.Time) time.Time {
	z, err := time.Parse("-07:00", e.Zone)
	if err != nil {
		return t.UTC()
	}
	_, offset := z.Zone()
	return t.In(time.FixedZone("", offset))
}
