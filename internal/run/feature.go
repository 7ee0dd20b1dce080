package run

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/capture/feature"
	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// featureText is a feature as recorded: "tau 0.0348 s 0.0001", and above or
// below where it is one-sided.
func featureText(f feature.Feature) string {
	unit, _ := f.Dim.Unit()
	text := strings.Join([]string{f.Name, entry.FormatNumber(f.Value), unit, entry.FormatNumber(f.U)}, " ")
	if s := side(f.Side); s != "" {
		text += " " + s
	}
	return text
}

// A Feature is one number of a capture as recorded.
type Feature struct {
	Name string
	measure.Reading
}

// String gives the number with its uncertainty: "34.81 ms ± 45 µs".
func (f Feature) String() string {
	text := quantity.Value{SI: f.Value, Dim: f.Dim}.String()
	if s := side(f.Side); s != "" {
		return s + " " + text
	}
	return text + " ± " + quantity.Format(quantity.Value{SI: f.U, Dim: f.Dim}, 2, quantity.RoundUp)
}

// Features gives the numbers of a recorded capture. Numbers that are not as
// this program writes them are left out.
func (a *Attempt) Features(s *plan.Step) []Feature {
	var out []Feature
	for _, text := range a.Body.Family("feature") {
		if f, ok := parseFeature(s, text); ok {
			out = append(out, f)
		}
	}
	return out
}

func parseFeature(s *plan.Step, text string) (Feature, bool) {
	parts := strings.Split(text, " ")
	if len(parts) < 4 || len(parts) > 5 {
		return Feature{}, false
	}
	dim, ok := feature.Dim(s.Function, parts[0])
	unit, _ := dim.Unit()
	x, errX := entry.ParseNumber(parts[1])
	u, errU := entry.ParseNumber(parts[3])
	if !ok || unit != parts[2] || errX != nil || errU != nil || u < 0 {
		return Feature{}, false
	}
	f := Feature{parts[0], measure.Reading{Value: x, U: u, Dim: dim, RangeIndex: -1}}
	if len(parts) == 5 {
		switch parts[4] {
		case side(quantity.Above):
			f.Side = quantity.Above
		case side(quantity.Below):
			f.Side = quantity.Below
		default:
			return Feature{}, false
		}
	}
	return f, true
}

func readings(features []feature.Feature) []Feature {
	var out []Feature
	for _, f := range features {
		out = append(out, Feature{f.Name, measure.Reading{Value: f.Value, U: f.U, Dim: f.Dim, Side: f.Side, RangeIndex: -1}})
	}
	return out
}

func findings(list []feature.Finding) []string {
	var out []string
	for _, f := range list {
		out = append(out, f.Code+": "+f.Sentence)
	}
	return out
}

// judgeFeatures decides each feature against its bounds, like any reading. A
// finding is a fault, or the reason why nothing can be decided; what a bound
// asks for and the capture does not show is undecided.
func judgeFeatures(s *plan.Step, have []Feature, found []string) Judgement {
	out := Judgement{Decision: Done}
	var seen []string
	for i := range s.Bounds {
		name := s.Bounds[i].Feature
		if slices.Contains(seen, name) {
			continue
		}
		seen = append(seen, name)
		part := *s
		part.Bounds = nil
		for _, b := range s.Bounds {
			if b.Feature == name {
				part.Bounds = append(part.Bounds, b)
				part.Dim = b.Dim
			}
		}
		at := slices.IndexFunc(have, func(f Feature) bool { return f.Name == name })
		if at < 0 {
			out.Decision = worse(out.Decision, CannotDecide)
			out.Findings = append(out.Findings, name+" cannot be told from this capture")
			continue
		}
		j := Judge(&part, have[at].Reading, nil)
		if d := worse(out.Decision, j.Decision); d != out.Decision {
			out.Decision, out.Rule = d, j.Rule
		}
		out.Results = append(out.Results, j.Results...)
		for _, f := range j.Findings {
			out.Findings = append(out.Findings, name+": "+f)
		}
	}
	for _, f := range found {
		code, _, _ := strings.Cut(f, ":")
		if feature.Undecides(code) {
			out.Decision = worse(out.Decision, CannotDecide)
		} else {
			out.Decision = worse(out.Decision, Fail)
		}
		out.Findings = append(out.Findings, f)
	}
	return out
}

// captureAgain decides a recorded capture once more from its own numbers.
func (m *Machine) captureAgain(e entry.Entry, s *plan.Step) (string, error) {
	var have []Feature
	var found []string
	if e.Kind == entry.Reading {
		var err error
		if have, err = m.eyed(s, e.Text("text")); err != nil {
			return "", err
		}
	} else {
		for _, text := range e.Family("feature") {
			f, ok := parseFeature(s, text)
			if !ok {
				return "", fmt.Errorf("%q is not a feature", text)
			}
			have = append(have, f)
		}
		for _, text := range e.Family("finding") {
			if code, _, ok := strings.Cut(text, ": "); ok && feature.IsCode(code) {
				found = append(found, text)
			}
		}
	}
	j := judgeFeatures(s, have, found)
	if len(m.start.refusals(s, e.Time.Format("2006-01-02"))) > 0 {
		j.Decision = worse(j.Decision, CannotDecide)
	}
	return j.Decision, nil
}
