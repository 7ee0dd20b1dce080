package audit

import (
	"fmt"
	"math"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// RefutedDecision is the code of a decision that the capture's own bytes
// refute. It is no matter of conduct: nothing that rests on it holds.
const RefutedDecision = "refuted-decision"

// refuted holds the decision on a capture that was just folded against its
// file, whatever else is strange about the run.
func (a *Audit) refuted(m *run.Machine, e entry.Entry) {
	for _, s := range m.Steps() {
		last := s.Last()
		if last == nil || last.Index != e.Index || s.Step.Path != e.Path {
			continue
		}
		file := a.file(e)
		if file == nil {
			return // that the blob is not there is a fault of its own
		}
		if why := m.Refuted(s.Step, last, file); why != "" {
			a.remark(e.Index, "refuted-decision", "%s", why)
		}
	}
}

// heldCapture holds what was found in a waveform against what is found in it
// now: the file lies in the log, and the same reader and the same analysis
// give the same numbers.
func heldCapture(got, want entry.Body) *mismatch {
	if g, w := got.Text("importer"), want.Text("importer"); g != w {
		return &mismatch{importer: true, sentence: fmt.Sprintf("the waveform was read by version %s of the reader, and this is %s: what it was said to show was not found again", orNothing(g), w)}
	}
	for _, family := range []string{"channel", "setting"} {
		if g, w := strings.Join(got.Family(family), "; "), strings.Join(want.Family(family), "; "); g != w {
			return &mismatch{features: true, sentence: fmt.Sprintf("%s is recorded as %s, and the file gives %s", family, orNothing(g), orNothing(w))}
		}
	}
	recorded := map[string]string{}
	for _, f := range got.Family("feature") {
		name, _, _ := strings.Cut(f, " ")
		recorded[name] = f
	}
	for _, w := range want.Family("feature") {
		name, _, _ := strings.Cut(w, " ")
		g := recorded[name]
		delete(recorded, name)
		if !nearFeature(g, w) {
			return &mismatch{features: true, sentence: fmt.Sprintf("%s is recorded, and the waveform gives %s", orNothing(g), w)}
		}
	}
	for _, g := range got.Family("feature") {
		if name, _, _ := strings.Cut(g, " "); recorded[name] != "" {
			return &mismatch{features: true, sentence: fmt.Sprintf("%s is recorded, and the waveform gives no such number", g)}
		}
	}
	if len(got.Family("feature")) != len(want.Family("feature")) {
		return &mismatch{features: true, sentence: "a number is recorded twice"}
	}
	return nil
}

// featureSlack is the share by which a number found in a waveform may differ
// between processors: fits go on until nothing moves in the ninth digit.
const featureSlack = 1e-6

// nearFeature compares "NAME VALUE UNIT U" with an optional side.
func nearFeature(g, w string) bool {
	x, y := strings.Split(g, " "), strings.Split(w, " ")
	if len(x) != len(y) || len(x) < 4 {
		return g == w
	}
	for i := range x {
		a, errA := entry.ParseNumber(x[i])
		b, errB := entry.ParseNumber(y[i])
		if (i == 1 || i == 3) && errA == nil && errB == nil {
			if math.Abs(a-b) > featureSlack*math.Max(math.Abs(a), math.Abs(b)) {
				return false
			}
		} else if x[i] != y[i] {
			return false
		}
	}
	return true
}
