package run

import (
	"fmt"
	"math"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/hv"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// A computed value with its expanded uncertainty, SI.
type computed struct {
	x, u  float64
	side  quantity.Side
	notes []string // said beside the value, not against it
}

// reading gives the value as one that can be judged.
func (c computed) reading(s *plan.Step) measure.Reading {
	return measure.Reading{Value: c.x, U: c.u, Dim: s.Dim, Side: c.side, RangeIndex: -1}
}

// functions are the computations by the names that procedures use; the
// arguments of each are declared in package procedure.
var functions = map[string]func(args) (computed, error){
	"difference":            difference,
	"ratio":                 ratio,
	"decay_time":            decayTime,
	"isolation_two_voltage": isolationTwoVoltage,
}

// args are the arguments of a computed step.
type args struct {
	values          map[string]hv.Uncertain
	words           map[string]string
	meterResistance float64 // Ω, of the voltmeter that the readings were taken with; 0 if not stated
}

// compute proposes the entry of a computed step. What cannot be computed,
// because a reading is missing or the readings contradict each other, is
// recorded as undecided with the reason: it never passes.
func (m *Machine) compute(p Prompt) ([]entry.Body, error) {
	b := m.body(p)
	b.Kind = entry.Computed
	b.Add("attempt", fmt.Sprint(p.Attempt))
	b.Add("function", p.Step.Function)
	unit, _ := p.Step.Dim.Unit()
	if p.Step.Function == "value" {
		return m.computeValue(p, b, unit)
	}
	var j Judgement
	c, err := m.evaluate(p.Step)
	if err != nil {
		j = Judgement{Decision: CannotDecide, Findings: []string{err.Error()}}
	} else {
		b.AddNumber("value", c.x)
		b.Add("unit", unit)
		b.Add("bound", side(c.side))
		b.AddNumber("u", c.u)
		j = Judge(p.Step, c.reading(p.Step), nil)
		if m.history != nil && m.history.Beyond != nil {
			j.Findings = append(j.Findings, m.history.Beyond(m, p.Step)...)
		}
	}
	j.addTo(&b)
	b.Add("reason", strings.Join(c.notes, "; "))
	return one(b), nil
}

// computeValue decides a value that the car's data give.
func (m *Machine) computeValue(p Prompt, b entry.Body, unit string) ([]entry.Body, error) {
	for _, a := range p.Step.From {
		if a.IsValue() {
			b.AddNumber("low", a.Lo)
			b.AddNumber("high", a.Hi)
			b.Add("unit", unit)
			judgeRange(p.Step, a.Lo, a.Hi).addTo(&b)
			return one(b), nil
		}
	}
	return nil, fmt.Errorf("step %s computes a value and has none", p.Step.Path)
}

func (m *Machine) evaluate(s *plan.Step) (computed, error) {
	f, ok := functions[s.Function]
	if !ok {
		return computed{}, fmt.Errorf("this program cannot compute %q", s.Function)
	}
	in, err := m.arguments(s)
	if err != nil {
		return computed{}, err
	}
	return f(in)
}

// arguments gathers what a computed step rests on.
func (m *Machine) arguments(s *plan.Step) (args, error) {
	in := args{values: map[string]hv.Uncertain{}, words: map[string]string{}}
	for _, a := range s.From {
		switch {
		case a.Text != "":
			in.words[a.Name] = a.Text
		case a.IsValue():
			mid := (a.Lo + a.Hi) / 2
			in.values[a.Name] = hv.Uncertain{X: mid, U: (a.Hi - a.Lo) / 2}
		default:
			last, err := m.lastOf(a.Step)
			if err != nil {
				return args{}, err
			}
			if !last.HasValue {
				word, _ := last.Body.Get("text")
				in.words[a.Name] = normal(word)
				continue
			}
			if bound, one := last.Body.Get("bound"); one {
				return args{}, fmt.Errorf("%s was read as %s a value: nothing can be computed from it", a.Step, bound)
			}
			in.values[a.Name] = hv.Uncertain{X: last.Value, U: last.U}
			m.noteMeter(&in, a.Step)
		}
	}
	return in, nil
}

// noteMeter keeps the input resistance of the voltmeter that took a reading.
func (m *Machine) noteMeter(in *args, path string) {
	i, ok := m.plan.Step(path)
	if !ok || m.plan.Steps[i].Dim != quantity.Volt {
		return
	}
	if _, f := m.start.Meter(&m.plan.Steps[i]); f != nil && f.InputResistance > 0 {
		in.meterResistance = f.InputResistance
	}
}

// lastOf gives the last attempt at a step.
func (m *Machine) lastOf(path string) (Attempt, error) {
	i, ok := m.plan.Step(path)
	if !ok || len(m.steps[i].attempts) == 0 {
		return Attempt{}, fmt.Errorf("%s was not read", path)
	}
	return m.steps[i].attempts[len(m.steps[i].attempts)-1], nil
}

func (a args) value(name string) (hv.Uncertain, error) {
	if v, ok := a.values[name]; ok {
		return v, nil
	}
	return hv.Uncertain{}, fmt.Errorf("the value of %s is missing", name)
}

// difference is a − b; independent readings, so the uncertainties combine
// by root sum of squares.
func difference(in args) (computed, error) {
	a, err := in.value("a")
	if err != nil {
		return computed{}, err
	}
	b, err := in.value("b")
	if err != nil {
		return computed{}, err
	}
	return computed{x: a.X - b.X, u: measure.Combine(a.U, b.U)}, nil
}

// ratio is a / b; the relative uncertainties combine by root sum of squares,
// taken at the ends of b's interval so that the first order is never too small.
func ratio(in args) (computed, error) {
	a, err := in.value("a")
	if err != nil {
		return computed{}, err
	}
	b, err := in.value("b")
	if err != nil {
		return computed{}, err
	}
	least := math.Abs(b.X) - b.U
	if least <= 0 {
		return computed{}, fmt.Errorf("cannot divide by %g: with its uncertainty it may be nought", b.X)
	}
	x := a.X / b.X
	return computed{x: x, u: measure.Combine(a.U/least, math.Abs(x)*b.U/least)}, nil
}

// decayTime re-scales a measured time of decay from the day's voltage to full
// charge: t · ln(full/target) / ln(start/target), for one time constant. Full
// and target are taken at their worst ends. A start that was lower than read
// makes the true time longer, so the start's uncertainty counts.
func decayTime(in args) (computed, error) {
	v := map[string]hv.Uncertain{}
	for _, name := range []string{"time", "start", "full", "target"} {
		u, err := in.value(name)
		if err != nil {
			return computed{}, err
		}
		v[name] = u
	}
	full, target, start := v["full"].X+v["full"].U, v["target"].X-v["target"].U, v["start"]
	if target <= 0 || full <= target || start.X-start.U <= target {
		return computed{}, fmt.Errorf("it cannot be re-scaled: it began at %s, which is not surely above %s",
			quantity.Value{SI: start.X, Dim: quantity.Volt}, quantity.Value{SI: target, Dim: quantity.Volt})
	}
	scale := func(from float64) float64 { return math.Log(full/target) / math.Log(from/target) }
	s := scale(start.X)
	x := v["time"].X * s
	return computed{x: x, u: measure.Combine(v["time"].U*s, v["time"].X*(scale(start.X-start.U)-s))}, nil
}
