package run

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// slips gives the questions that are asked back before a reading is
// recorded: what looks like a slip of the tongue, the keys or the meter's
// switch. Nothing is ever corrected silently, and every one of them can be
// confirmed: the reading then stands as it was read.
func (m *Machine) slips(p Prompt, typed string, q Typed, r measure.Reading, warnings []measure.Warning) []string {
	var ask []string
	for _, w := range warnings {
		ask = append(ask, w.Sentence)
	}
	v := readBack(r)
	if r.OverRange || r.Side != quantity.Exact {
		return ask
	}
	volt := r.Dim == quantity.Volt
	switch {
	case r.Value < 0 && volt:
		ask = append(ask, v+" is negative: probes swapped, or polarity wrong? Swap nothing yet; look.")
	case r.Value < 0:
		ask = append(ask, v+" is negative: is that what the meter shows?")
	case r.Value == 0 && volt:
		ask = append(ask, v+" is also what an open lead shows: prove the meter on a known source, then read again?")
	}
	if e, ok := expected(p); ok && r.Value != 0 {
		switch ratio := math.Abs(r.Value) / e.mid; {
		case (ratio > 3 || ratio < 1.0/3) && !e.window.Contains(r.Value):
			ask = append(ask, fmt.Sprintf("%s? This car's data give %s.", v, strings.TrimPrefix(e.window.String(), "expected ")))
		case slices.Contains(e.shown, v):
			ask = append(ask, v+" is an expected value to the last digit: read again?")
		}
	} else if far, limit := decadesOff(p, r.Value); far {
		ask = append(ask, fmt.Sprintf("%s is far from the limit (%s): is the prefix right?", v, limit))
	}
	if wide := tooWide(v, r.Value, q.Division, r.Dim); wide != "" {
		ask = append(ask, wide)
	}
	if n := m.sameInLoop(p, typed); n >= 2 {
		ask = append(ask, fmt.Sprintf("%s for the third time in a row, to the digit: read again?", v))
	}
	return ask
}

type expectation struct {
	mid    float64
	window quantity.Bound
	shown  []string // the numbers of the window, which could be copied off the screen
}

// expected gives the middle of the step's first window.
func expected(p Prompt) (expectation, bool) {
	for _, w := range p.Step.Windows() {
		mid := (w.Low + w.High) / 2
		if mid > 0 {
			e := expectation{mid: mid, window: w.Bound}
			for _, x := range []float64{w.Low, mid, w.High} {
				e.shown = append(e.shown, quantity.Value{SI: x, Dim: w.Dim}.String())
			}
			return e, true
		}
	}
	return expectation{}, false
}

// decadesOff reports whether a reading fails a limit by a factor of a
// thousand or more, as a milli for a mega does.
func decadesOff(p Prompt, x float64) (bool, string) {
	x = math.Abs(x)
	for _, b := range p.Step.Limits() {
		low := (b.Kind == quantity.AtLeast || b.Kind == quantity.Between) && b.Low > 0 && x < b.Low/1000
		high := b.Kind != quantity.AtLeast && b.High > 0 && x > b.High*1000
		if low || high {
			return true, b.Bound.String()
		}
	}
	return false, ""
}

// sameInLoop counts how many of the steps just before, with the same id and
// kind of reading in the same loop, were answered with the same text.
func (m *Machine) sameInLoop(p Prompt, text string) int {
	n := 0
	id := lastID(p.Step.Path)
	for i := m.at - 1; i >= 0; i-- {
		s := &m.plan.Steps[i]
		if s.Kind != p.Step.Kind || s.Dim != p.Step.Dim || lastID(s.Path) != id || s.Path == id {
			continue
		}
		a := m.steps[i].attempts
		if len(a) == 0 {
			return n
		}
		if t, _ := a[len(a)-1].Body.Get("text"); normal(t) != normal(text) {
			return n
		}
		n++
	}
	return n
}

func lastID(path string) string {
	for i := len(path) - 1; i >= 0; i-- {
		if path[i] == '.' {
			return path[i+1:]
		}
	}
	return path
}
