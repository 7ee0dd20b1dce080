package readiness

import (
	"fmt"
	"math"
	"slices"
	"time"

	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// meters says which meter that was found wrong leaves the item in doubt, or
// nothing. A reading is judged again with the error found; a value that was
// computed from such readings is to be measured again.
func (j *judge) meters(today *plan.Plan, q piece, m *run.Machine) string {
	began := j.log.Record.began[m.ID()]
	for _, f := range j.log.Record.ledger.faults {
		if f.seq < began {
			continue // the run's meter was found wrong before: its data say so
		}
		c := j.course(m)
		for _, i := range q.rests {
			at, ok := c.index[today.Steps[i].Path]
			if !ok {
				continue
			}
			if d, why := f.judges(c, &c.steps[at]); why != "" && d != run.Pass && d != run.Done {
				return fmt.Sprintf("%s was found wrong (entry %d): %s", f.Instrument, f.Index, why)
			}
		}
	}
	return ""
}

// A Rejudged is a result that a meter found wrong has touched.
type Rejudged struct {
	Run, Procedure, Path string
	Said                 string
	Before, After        string // decisions; After is "to be judged" where the error is not known
	Why                  string
}

// Known reports whether the error found is one to judge again with. A meter
// that shows less than a tenth or more than ten times the true value, or
// nothing that is a number, is not wrong by a factor: it measures something
// else (common practice, no source).
func (f *MeterFault) Known() bool {
	return f.Factor >= 0.1 && f.Factor <= 10 && !math.IsNaN(f.Offset) && !math.IsInf(f.Offset, 0)
}

// ToBeJudged is the decision on a result that cannot be judged again.
const ToBeJudged = "to be judged"

// Touched gives every result of the log since the meter's last good check,
// judged again with the error found.
func (f *MeterFault) Touched(l Log) []Rejudged {
	var out []Rejudged
	for _, m := range l.Runs.Runs() {
		c := &course{m: m, steps: m.Steps(), log: l}
		c.index = map[string]int{}
		for i := range c.steps {
			c.index[c.steps[i].Step.Path] = i
		}
		for i := range c.steps {
			s := &c.steps[i]
			if d, why := f.judges(c, s); why != "" {
				out = append(out, Rejudged{m.ID(), m.Plan().Procedure, s.Step.Path, s.Last().Said(s.Step), s.Decision, d, why})
			}
		}
	}
	return out
}

// judges gives the decision on a step's last answer with the meter's error
// taken out, and the reason in words; no words where the meter had no part in
// it.
func (f *MeterFault) judges(c *course, s *run.StepResult) (decision, why string) {
	a := s.Last()
	if a == nil {
		return "", ""
	}
	if s.Step.Kind == plan.Compute {
		for _, from := range s.Step.From {
			if at, ok := c.index[from.Step]; ok && from.Step != "" && f.took(c.steps[at].Last()) {
				return ToBeJudged, fmt.Sprintf("%s rests on %s, read with it", s.Step.Path, from.Step)
			}
		}
		return "", ""
	}
	if !f.took(a) {
		return "", ""
	}
	if !f.Known() || !a.HasValue || a.Body.Text("bound") != "" {
		return ToBeJudged, s.Step.Path + " was read with it"
	}
	start := c.m.Start()
	_, function := start.Meter(s.Step)
	r := measure.Reading{Value: (a.Value - f.Offset) / f.Factor, U: a.U / f.Factor, Dim: s.Step.Dim, Side: quantity.Exact, RangeIndex: -1}
	j := run.Judge(s.Step, r, function)
	return j.Decision, fmt.Sprintf("%s becomes %s: %s", s.Step.Path, quantity.Value{SI: r.Value, Dim: r.Dim}, j.Decision)
}

// took reports whether an answer was read with the meter since its last good
// check.
func (f *MeterFault) took(a *run.Attempt) bool {
	return a != nil && slices.Contains(run.Instruments(a.Body), f.Instrument) &&
		(f.Function == "" || a.Body.Text("function") == f.Function) &&
		(f.Since == "" || a.Time.Format(time.DateOnly) >= f.Since)
}

// MeterFaults gives the meters found wrong, oldest first.
func (r *Record) MeterFaults() []*MeterFault { return r.ledger.faults }
