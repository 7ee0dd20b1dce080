package run

import (
	"fmt"
	"slices"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// A Judgement is the decision on one value against all bounds of its step.
type Judgement struct {
	Decision string
	Rule     string   // decision rule of the limit that decided
	Results  []Result // one for each governing limit and each window
	Findings []string // plain sentences
}

// A Result is the decision on one bound.
type Result struct {
	Bound   *plan.Bound
	Verdict measure.Verdict
	Why     string // where the verdict is not by the number alone
}

// severity orders decisions: the worst of several is the step's.
var severity = []string{Done, Pass, ConditionalPass, CannotDecide, ConditionalFail, Fail}

func worse(a, b string) string {
	if slices.Index(severity, b) > slices.Index(severity, a) {
		return b
	}
	return a
}

// Judge decides a reading, taken with a function of a meter, against the
// bounds of its step. A limit that asks for another method or stimulus than
// the reading had cannot be decided by it. A window that is missed is a
// finding; where a step has no limit, its windows decide.
func Judge(s *plan.Step, r measure.Reading, f *measure.Function) Judgement {
	return judge(s, func(b *plan.Bound) (measure.Verdict, string) {
		if b.Kind != quantity.Expected {
			if why := unfit(s, b, f); why != "" {
				return CannotDecide, why
			}
		}
		d := measure.Decide(r, b.Bound, b.Rule)
		why := ""
		if len(d.Warnings) > 0 {
			why = d.Warnings[0].Sentence
		}
		return d.Verdict, why
	})
}

// judgeRange decides a value of the car itself: it has a range over the
// tolerances and no uncertainty, and every value of the range must satisfy
// the bound. All bounds are convex, so the two ends decide.
func judgeRange(s *plan.Step, lo, hi float64) Judgement {
	return judge(s, func(b *plan.Bound) (measure.Verdict, string) {
		if b.Contains(lo) && b.Contains(hi) {
			return measure.Pass, ""
		}
		return measure.Fail, ""
	})
}

func judge(s *plan.Step, decide func(*plan.Bound) (measure.Verdict, string)) Judgement {
	j := Judgement{Decision: Done}
	limited := len(s.Limits()) > 0
	for i := range s.Bounds {
		b := &s.Bounds[i]
		window := b.Kind == quantity.Expected
		if !window && !b.Governs {
			continue
		}
		v, why := decide(b)
		j.Results = append(j.Results, Result{b, v, why})
		if window && v != measure.Pass {
			j.Findings = append(j.Findings, fmt.Sprintf("outside what this car's data expect (%s)", b.Bound))
		}
		if window && limited {
			continue
		}
		if d := worse(j.Decision, string(v)); d != j.Decision {
			j.Decision, j.Rule = d, b.Rule.String()
		}
		if why != "" && v != measure.Pass {
			j.Findings = append(j.Findings, why)
		}
	}
	return j
}

// unfit says why a reading by the step's method and meter cannot count
// towards the bound, or nothing.
func unfit(s *plan.Step, b *plan.Bound, f *measure.Function) string {
	method := s.Method
	if method == "" && f != nil {
		method = f.Method
	}
	if b.Method != "" && method != b.Method {
		return fmt.Sprintf("%s asks for the %s method; this reading is by %s", b.ID, b.Method, orNone(method))
	}
	if f == nil {
		return ""
	}
	need := measure.Need{MinTestVoltage: b.MinTestVoltage, MinTestCurrent: b.MinTestCurrent, MaxTestCurrent: b.MaxTestCurrent}
	for _, r := range measure.FunctionRefusals(*f, need) {
		return b.ID + ": " + r.Sentence
	}
	return ""
}

func orNone(method string) string {
	if method == "" {
		return "no named method"
	}
	return "the " + method + " method"
}

// addTo writes the judgement into an entry's body.
func (j Judgement) addTo(b *entry.Body) {
	b.Add("decision", j.Decision)
	b.Add("rule", j.Rule)
	var results []string
	for _, r := range j.Results {
		results = append(results, fmt.Sprintf("%s %s: %s", r.Bound.Kind, r.Bound.ID, r.Verdict))
	}
	b.AddFamily("result", results...)
	b.AddFamily("finding", j.Findings...)
}
