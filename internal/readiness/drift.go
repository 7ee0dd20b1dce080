package readiness

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/hv"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// A Point is one reading in the history of a step.
type Point struct {
	Run      string
	Time     time.Time
	Value, U float64 // SI
	Bound    string  // "above", "below", or empty
	Decision string
	Air      string  // temperature and humidity as said in the run, empty if not asked for
	Kelvin   float64 // air temperature, 0 if not asked for

	step    *plan.Step
	attempt *run.Attempt
	surface string // "wet", "dry" or empty
}

// Said gives the reading as it was typed, with its uncertainty.
func (p Point) Said() string { return p.attempt.Said(p.step) }

// like reports whether two readings are of the same thing in the same state:
// only then is one held against the other.
func (p Point) like(o Point) bool {
	a, b := p.step, o.step
	return a.Dim == b.Dim && a.Kind == b.Kind && a.Method == b.Method && a.Function == b.Function &&
		slices.Equal(a.State, b.State) && p.surface == o.surface
}

// A Trend is the history of one step over all runs, rehearsals left out,
// oldest first.
type Trend struct {
	Procedure, Path string
	Base            int        // the point to compare with: of the baseline, else the first
	Named           *Baseline  // that names the run of Base; nil where none does
	Step            *plan.Step // of the newest run
	Points          []Point
}

// since says what the readings are held against.
func (t *Trend) since() string {
	if t.Named == nil {
		return "the first reading"
	}
	return fmt.Sprintf("the baseline (entry %d)", t.Named.Index)
}

// Trends gives the history of every step that gives a number, in the order of
// first use. Only readings that were taken as the plan asks are in it: what a
// meter could not decide has no place in a trend.
func Trends(l Log) []*Trend {
	var out []*Trend
	byKey := map[[2]string]*Trend{} // procedure and path
	base := l.Record.Baseline()
	for _, m := range l.Runs.Runs() {
		if m.Start().Rehearsal || m.Broken() != nil {
			continue
		}
		air, surface, kelvin := airOf(m)
		named := base != nil && slices.Contains(base.Runs, m.ID())
		for s := range m.Answered() {
			a := s.Last()
			if !a.HasValue || s.Step.LeadCheck != "" || s.Step.Kind == plan.Wait {
				continue
			}
			key := [2]string{m.Plan().Procedure, s.Step.Path}
			t := byKey[key]
			if t == nil {
				t = &Trend{Procedure: m.Plan().Procedure, Path: s.Step.Path}
				byKey[key], out = t, append(out, t)
			}
			step := s.Step
			t.Step = step
			if named {
				t.Base, t.Named = len(t.Points), base
			}
			t.Points = append(t.Points, Point{m.ID(), a.Time, a.Value, a.U, a.Body.Text("bound"), a.Decision, air, kelvin, step, a, surface})
		}
	}
	return out
}

func airOf(m *run.Machine) (text, surface string, kelvin float64) {
	if !m.Plan().Ambient {
		return "", "", 0
	}
	for _, e := range m.Events() {
		if e.Body.Kind == entry.Ambient {
			kelvin, _ = e.Body.Number("temperature")
			return e.Body.Text("text"), e.Body.Text("surface"), kelvin
		}
	}
	return "", "", 0
}

// At estimates the insulation at another temperature, K: it halves for every
// 10 K. An estimate to look at, never to judge by; false for what is not
// insulation, or where the temperature was not asked for.
func (p Point) At(s *plan.Step, kelvin float64) (float64, bool) {
	insulation := s.Dim == quantity.Ohm && (s.Method == "joined-pole" || s.Method == "two-voltage" || s.Function == "isolation_two_voltage")
	if !insulation || p.Kelvin == 0 {
		return 0, false
	}
	return hv.InsulationAt(p.Value, p.Kelvin-zeroCelsius, kelvin-zeroCelsius), true
}

const zeroCelsius = 273.15

// A Falling is a reading that still passes and has moved towards its limit by
// more than the meters leave open.
type Falling struct {
	*Trend
	From, To Point
	Since    string // what From is: the baseline, the first reading, the one before
	Limit    plan.Bound
	// Earliest and Latest bound when it meets the limit, if it goes on as from
	// From to now; the uncertainty of both readings is in it. Latest zero:
	// perhaps never. Both zero: too little time lies between the two.
	Earliest, Latest time.Time
}

// shortest is the least time between two readings for a forecast.
const shortest = 24 * time.Hour

// Falls compares the newest point with the baseline; where it has not fallen
// against that, with the reading before. Readings in another state, by another
// method, wet or dry, are not compared.
func (t *Trend) Falls() (*Falling, bool) {
	newest := len(t.Points) - 1
	if t.Base < newest {
		if f, ok := t.falls(t.Points[t.Base], t.since()); ok {
			return f, true
		}
	}
	if newest > t.Base+1 {
		return t.falls(t.Points[newest-1], "the reading before")
	}
	return nil, false
}

func (t *Trend) falls(from Point, since string) (*Falling, bool) {
	to := t.Points[len(t.Points)-1]
	if from.Bound != "" || to.Bound != "" || from.Decision == run.Fail || to.Decision != run.Pass && to.Decision != run.ConditionalPass || !from.like(to) {
		return nil, false
	}
	for _, b := range t.Step.Limits() {
		sign, limit := 1.0, b.Low // towards the limit is down
		switch b.Kind {
		case quantity.AtMost, quantity.MagnitudeAtMost:
			sign, limit = -1, b.High
		case quantity.AtLeast:
		default:
			continue
		}
		x1, x2 := sign*from.Value, sign*to.Value
		if b.Kind == quantity.MagnitudeAtMost {
			x1, x2 = -math.Abs(from.Value), -math.Abs(to.Value)
		}
		fall, u := x1-x2, measure.Combine(from.U, to.U)
		if fall <= u {
			continue
		}
		f := &Falling{Trend: t, From: from, To: to, Since: since, Limit: b}
		between := to.Time.Sub(from.Time)
		if between >= shortest {
			room := x2 - sign*limit
			f.Earliest = to.Time.Add(after(between, max(room-to.U, 0)/(fall+u)))
			f.Latest = to.Time.Add(after(between, (room+to.U)/(fall-u)))
			if f.Latest.Before(f.Earliest) || f.Latest.Sub(to.Time) > 100*365*shortest {
				f.Latest = time.Time{}
			}
		}
		return f, true
	}
	return nil, false
}

// after gives a multiple of a time, at most 200 years.
func after(d time.Duration, times float64) time.Duration {
	return time.Duration(min(float64(d)*times, float64(200*365*24*time.Hour)))
}

// Sentence says it in words.
func (f *Falling) Sentence() string {
	s := fmt.Sprintf("%s, %s: %s, from %s at %s; it passes %s, and is on its way to it", f.Procedure, f.Path, value(f.To, f.Step), value(f.From, f.Step), f.Since, f.Limit.Bound)
	switch {
	case f.Earliest.IsZero():
	case f.Latest.IsZero():
		s += fmt.Sprintf("; not before %s, if it goes on so", f.Earliest.Format(time.DateOnly))
	default:
		s += fmt.Sprintf("; between %s and %s, if it goes on so", f.Earliest.Format(time.DateOnly), f.Latest.Format(time.DateOnly))
	}
	return s
}

func value(p Point, s *plan.Step) string {
	return strings.TrimSpace(p.Bound + " " + quantity.Value{SI: p.Value, Dim: s.Dim}.String())
}

// Sparkline draws the points in eight heights; points with the same value
// throughout are all in the middle.
func (t *Trend) Sparkline() string {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range t.Points {
		lo, hi = min(lo, p.Value), max(hi, p.Value)
	}
	bars := []rune("▁▂▃▄▅▆▇█")
	var out []rune
	for _, p := range t.Points {
		k := 3
		if hi > lo {
			k = int((p.Value - lo) / (hi - lo) * 7.999)
		}
		out = append(out, bars[k])
	}
	return string(out)
}
