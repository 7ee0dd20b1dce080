package run

import (
	"errors"
	"fmt"
	"strings"

	"hvproof/internal/hv"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// isolationTwoVoltage gives the isolation resistance of the weaker pole by
// the two-voltage method: see package hv.
func isolationTwoVoltage(in args) (computed, error) {
	r, err := twoVoltage(in)
	if err != nil {
		return computed{}, err
	}
	c := computed{x: r.Weaker.X, u: r.Weaker.U, side: r.Weaker.Side}
	c.notes = append(c.notes, fmt.Sprintf("weaker pole: %s; both poles in parallel, as a joined-pole tester or a monitor sees them: %s",
		r.Pole, estimate(r.Both)))
	c.notes = append(c.notes, leakAlong(in, r)...)
	for _, w := range r.Warnings {
		c.notes = append(c.notes, w.Sentence)
	}
	return c, nil
}

// leakAlong says where along the string a single leak would sit, if it is all
// there is, and beside the background that the step gives, if it gives one. Of
// readings that no single leak explains nothing is said.
func leakAlong(in args, r hv.IsolationResult) (notes []string) {
	if r.Both.Side != quantity.Exact {
		return nil
	}
	v1, v2 := in.values["v1"], in.values["v2"]
	if leak, err := hv.LeakAlong(v1, v2, r.Both, nil); err == nil && leak.Fraction.U <= leastLeakPlace {
		notes = append(notes, "if it is one leak, it sits at "+place(leak))
	}
	plus, ok1 := in.values["background_plus"]
	minus, ok2 := in.values["background_minus"]
	if !ok1 || !ok2 || plus.X <= 0 || minus.X <= 0 {
		return notes
	}
	leak, err := hv.LeakAlong(v1, v2, r.Both, &hv.Poles{Positive: plus.X, Negative: minus.X})
	var refused *hv.Contradiction
	switch {
	case errors.As(err, &refused):
		notes = append(notes, "beside the known background: "+refused.Message)
	case err != nil || leak.Fraction.U > leastLeakPlace:
		notes = append(notes, "beside the known background, what remains is too little to say where it sits")
	default:
		notes = append(notes, fmt.Sprintf("beside the known background, one leak is %s and sits at %s", estimate(leak.Ohms), place(leak)))
	}
	return notes
}

// leastLeakPlace is the half-width from which on a place says nothing: either
// half of the string would fit.
const leastLeakPlace = 0.25

func place(leak hv.Leak) string {
	return fmt.Sprintf("%.0f %% ± %.0f %% of the string's voltage, counted from minus", 100*leak.Fraction.X, max(1, 100*leak.Fraction.U))
}

func twoVoltage(in args) (hv.IsolationResult, error) {
	t := hv.TwoVoltage{R0At: in.words["r0_at"], Simultaneous: in.words["meters"] == "two"}
	for _, v := range []struct {
		name string
		to   *hv.Uncertain
	}{{"vb", &t.VB}, {"v1", &t.V1}, {"v2", &t.V2}, {"v_prime", &t.VPrime}, {"r0", &t.R0}} {
		u, err := in.value(v.name)
		if err != nil {
			return hv.IsolationResult{}, err
		}
		*v.to = u
	}
	switch r, ok := in.values["meter_resistance"]; {
	case ok:
		t.MeterResistance = r.X
	case in.meterResistance > 0:
		t.MeterResistance = in.meterResistance
	}
	r, err := t.Isolation()
	if err != nil {
		return hv.IsolationResult{}, fmt.Errorf("the readings contradict each other: %w", err)
	}
	return r, nil
}

// Isolation gives both poles of a step that computed isolation by the
// two-voltage method, from the readings of the run; false for any other step,
// and where nothing can be computed.
func (m *Machine) Isolation(s *plan.Step) (hv.IsolationResult, bool) {
	if s.Function != "isolation_two_voltage" || s.NotApplicable != "" {
		return hv.IsolationResult{}, false
	}
	in, err := m.arguments(s)
	if err != nil {
		return hv.IsolationResult{}, false
	}
	r, err := twoVoltage(in)
	return r, err == nil
}

func estimate(e hv.Estimate) string {
	out := quantity.Value{SI: e.X, Dim: quantity.Ohm}.String()
	if e.Side == quantity.Above {
		out = "above " + out
	}
	return strings.TrimSpace(out)
}
