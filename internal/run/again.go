package run

import (
	"slices"
	"strings"

	"hvproof/internal/capture/feature"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// JudgeAgain decides a recorded answer against other bounds, which stand in s;
// f is the function of the meter that took it, nil for none. A capture is
// judged by its numbers and what was found in it, a value of the car by both
// its ends; ok is false where the answer has no number.
func JudgeAgain(s *plan.Step, a *Attempt, f *measure.Function) (j Judgement, ok bool) {
	low, ranged := a.Body.Number("low")
	high, _ := a.Body.Number("high")
	switch {
	case s.Kind == plan.Capture:
		have := a.Features(s)
		found := slices.DeleteFunc(slices.Clone(a.Findings), func(text string) bool {
			code, _, _ := strings.Cut(text, ":")
			return !feature.IsCode(code)
		})
		return judgeFeatures(s, have, found), len(have) > 0
	case ranged:
		return judgeRange(s, low, high), true
	case !a.HasValue:
		return Judgement{}, false
	}
	side := quantity.Exact
	switch a.Body.Text("bound") {
	case "above":
		side = quantity.Above
	case "below":
		side = quantity.Below
	}
	if s.Kind == plan.Compute {
		f = nil
	}
	return Judge(s, measure.Reading{Value: a.Value, U: a.U, Dim: s.Dim, Side: side, RangeIndex: -1}, f), true
}
