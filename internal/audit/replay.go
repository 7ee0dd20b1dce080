package audit

import (
	"cmp"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// ofRuns are the kinds that only a run writes.
var ofRuns = map[entry.Kind]bool{
	entry.State: true, entry.Caution: true, entry.Ambient: true, entry.Reading: true, entry.Statement: true,
	entry.Computed: true, entry.Wait: true, entry.Hold: true, entry.Witness: true, entry.Release: true,
	entry.MakeSafe: true, entry.Left: true, entry.Resume: true, entry.Again: true, entry.StepEnd: true,
	entry.RunEnd: true, entry.SignOut: true, entry.Capture: true,
}

// answers are the kinds by which the prompts of a run are answered. Leaving
// and making safe answer every prompt but the last.
var answers = map[run.PromptKind][]entry.Kind{
	run.AskResume: {entry.Resume}, run.AskAmbient: {entry.Ambient}, run.AskCaution: {entry.Caution}, run.AskState: {entry.State},
	run.AskStatement: {entry.Statement}, run.AskReading: {entry.Reading}, run.AskWait: {entry.Wait}, run.AskRelease: {entry.Release},
	run.AskCapture: {entry.Capture, entry.Reading},
	run.AskAgain:   {entry.Again, entry.StepEnd}, run.AskWitness: {entry.Witness},
	run.Automatic: {entry.Hold, entry.Computed, entry.RunEnd},
}

// step gives the step that an entry is about, nil if none.
func (a *Audit) step(e entry.Entry) *plan.Step {
	m := a.history.Run(e.Run)
	if m == nil {
		return nil
	}
	if i, ok := m.Plan().Step(e.Path); ok {
		return &m.Plan().Steps[i]
	}
	return nil
}

// runEntry holds an entry that is not the first of a run against what the
// run would have written, and folds it.
func (a *Audit) runEntry(e entry.Entry, leaf [32]byte, signer string) {
	m, same := a.history.Run(e.Run), false
	switch {
	case ofRuns[e.Kind] && m == nil:
		of := "no run"
		if e.Run != "" {
			of = "the run " + e.Run + ", which is not in this log or cannot be read"
		}
		a.impossible(e, "%s of %s", e.Kind, of)
	case ofRuns[e.Kind]:
		same = a.propose(m, e, signer)
	}
	if e.Kind == entry.Again {
		a.agains[e.Run] = append(a.agains[e.Run], e)
	}
	if e.Kind == entry.Reading && m != nil {
		a.inCalibration(m, e)
	}
	if err := a.history.Apply(e, leaf, signer); err != nil {
		a.impossible(e, "%v", err)
	}
	if e.Kind == entry.Capture && m != nil && !same {
		a.refuted(m, e)
	}
}

// impossible remarks once on a run that its further entries cannot be held
// against what a run would do.
func (a *Audit) impossible(e entry.Entry, format string, args ...any) {
	if e.Run != "" && a.strange[e.Run] {
		return
	}
	a.strange[e.Run] = true
	a.remark(e.Index, "impossible-run", "no run would have written this: %s; the run's later entries were not compared", fmt.Sprintf(format, args...))
}

// propose lets the run propose the entry again and compares; it reports whether
// they are the same.
func (a *Audit) propose(m *run.Machine, e entry.Entry, signer string) bool {
	if a.strange[e.Run] {
		return false
	}
	if e.Kind == entry.Resume {
		m.Interrupted() // the interruption itself leaves no entry
	}
	p := m.Next()
	if p.Kind == run.Finished {
		a.impossible(e, "%s after the end of run %s", e.Kind, e.Run)
		return false
	}
	if e.Kind != entry.Left && e.Kind != entry.MakeSafe && !slices.Contains(answers[p.Kind], e.Kind) {
		a.impossible(e, "%s, where the run waited for %s", e.Kind, waited(p))
		return false
	}
	if signer != p.Person {
		a.remark(e.Index, "other-signer", "run %s: %s is signed by %s, and the run names %s for it", e.Run, e.Kind, signer, orNobody(p.Person))
	}
	// The answer was given some moments before its entry was made, and the
	// date may have changed between.
	given := answer(p, e, e.Time)
	if e.Kind == entry.Capture {
		if given.File = a.file(e); given.File == nil {
			return false // that the blob is not there is a fault of its own
		}
	}
	var wrong *mismatch
	for _, at := range []time.Time{e.Time, m.Ended()} {
		given.At = local(e, at)
		bodies, err := m.Answer(p, given)
		if wrong = held(e.Body, bodies, err); wrong == nil {
			return true
		}
	}
	switch {
	case wrong.features:
		a.remark(e.Index, "other-features", "run %s, %s: %s (recorded by %s)", e.Run, e.Path, wrong.sentence, e.Version)
		return false
	case wrong.importer:
		a.remark(e.Index, "not-recomputed", "run %s, %s: %s", e.Run, e.Path, wrong.sentence)
		return false
	case wrong.value:
		a.remark(e.Index, "other-decision", "run %s, %s: %s", e.Run, e.Path, wrong.sentence)
		return false
	}
	a.impossible(e, "%s %s: %s", e.Kind, cmp.Or(e.Path, "of the whole run"), wrong.sentence)
	return false
}

// file gives the bytes of a capture as they came off the recorder.
func (a *Audit) file(e entry.Entry) []byte {
	digest, err := hex.DecodeString(e.Text("file"))
	if err != nil || len(digest) != 32 {
		return nil
	}
	bytes, err := a.blob([32]byte(digest))
	if err != nil {
		return nil
	}
	return bytes
}

// waited says what a prompt waits for.
func waited(p run.Prompt) string {
	if p.Key != "" {
		return p.Key
	}
	return "its end"
}

func orNobody(id string) string {
	if id == "" {
		return "nobody"
	}
	return id
}

// answer gives the answer that an entry records.
func answer(p run.Prompt, e entry.Entry, at time.Time) run.Answer {
	a := run.Answer{At: at, Confirm: true, Text: e.Text("text"), Reason: e.Text("reason")}
	switch e.Kind {
	case entry.Computed, entry.Hold, entry.RunEnd:
		return run.Answer{At: at} // nobody is asked
	case entry.MakeSafe:
		if p.Kind == run.Automatic {
			return run.Answer{At: at}
		}
		a.MakeSafe, a.Reason = true, e.Text("text")
	case entry.Left:
		a.Leave = true
	case entry.Again:
		a.Again, a.Cause = true, e.Text("cause")
	case entry.StepEnd:
		a.Decline = true
	case entry.Reading:
		a.Range, a.ReadAt = rangeOf(p, e), e.Text("read-at")
	}
	return a
}

// rangeOf gives the range that a reading was taken on as the run reads it.
func rangeOf(p run.Prompt, e entry.Entry) string {
	if p.Function == nil {
		return ""
	}
	unit, ok := p.Function.Dim.Unit()
	for _, r := range p.Function.Ranges {
		if ok && "to "+(quantity.Value{SI: r.To, Dim: p.Function.Dim}).String() == e.Text("range") {
			return entry.FormatNumber(r.To) + " " + unit
		}
	}
	return ""
}

// A mismatch is a difference between an entry and what the run would write.
type mismatch struct {
	value    bool // in the value or the decision, not in what is answered
	features bool // in what was found in a waveform
	importer bool // the waveform was read by another version of the reader
	sentence string
}

// held compares a recorded body with the first that the run proposes. Words
// that are only said beside (reasons, findings' wording) are not compared:
// another version of the program may word them otherwise.
func held(got entry.Body, bodies []entry.Body, err error) *mismatch {
	var refused *run.Refused
	var back *run.AskBack
	switch {
	case errors.As(err, &refused):
		return &mismatch{sentence: "it would have been refused: " + refused.Message}
	case errors.As(err, &back):
		return &mismatch{sentence: "it would have been asked back: " + back.Questions[0]}
	case err != nil:
		return &mismatch{sentence: err.Error()}
	case len(bodies) == 0:
		return &mismatch{sentence: "nothing would have been recorded"}
	}
	want := bodies[0]
	if got.Kind != want.Kind || got.Path != want.Path {
		return &mismatch{sentence: strings.TrimSpace(fmt.Sprintf("the run would have written %s %s", want.Kind, want.Path))}
	}
	if got.Kind == entry.Capture {
		if wrong := heldCapture(got, want); wrong != nil {
			return wrong
		}
	}
	for _, f := range compared {
		g, w := got.Text(f.name), want.Text(f.name)
		if g != w && !(f.number && near(got, want, f.name)) {
			return &mismatch{value: f.value, sentence: fmt.Sprintf("%s is recorded as %s, and what was answered gives %s", f.name, orNothing(g), orNothing(w))}
		}
	}
	for _, family := range []string{"state", "caution"} {
		if g, w := got.Family(family), want.Family(family); strings.Join(g, "\n") != strings.Join(w, "\n") {
			return &mismatch{sentence: fmt.Sprintf("%s is recorded as %s, and the run asked for %s", family, orNothing(strings.Join(g, ", ")), orNothing(strings.Join(w, ", ")))}
		}
	}
	if g, w := len(got.Family("finding")), len(want.Family("finding")); g < w {
		return &mismatch{value: true, sentence: fmt.Sprintf("%d findings are recorded, and what was answered gives %d: %s", g, w, want.Family("finding")[0])}
	}
	return nil
}

// compared are the fields that must be what the run would write.
var compared = []struct {
	name          string
	number, value bool
}{
	{name: "attempt"}, {name: "action"}, {name: "expect"}, {name: "instrument"}, {name: "function"}, {name: "reopen"},
	{name: "role"}, {name: "entry"}, {name: "leaf"}, {name: "surface"}, {name: "seconds", number: true},
	{name: "temperature", number: true}, {name: "humidity", number: true},
	{name: "value", number: true, value: true}, {name: "unit", value: true}, {name: "bound", value: true},
	{name: "u", number: true, value: true}, {name: "low", number: true, value: true}, {name: "high", number: true, value: true},
	{name: "decision", value: true}, {name: "outcome", value: true},
}

// near allows for arithmetic that another processor rounds otherwise.
func near(got, want entry.Body, name string) bool {
	g, ok := got.Number(name)
	w, also := want.Number(name)
	return ok && also && math.Abs(g-w) <= 1e-9*math.Max(math.Abs(g), math.Abs(w))
}

func orNothing(s string) string {
	if s == "" {
		return "nothing"
	}
	return s
}
