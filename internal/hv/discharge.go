package hv

import "math"

// A Stage is a part of a discharge: what discharges, Ω, and for how long, s.
type Stage struct{ Ohms, Seconds float64 }

// DischargeTime gives the time, s, in which a capacitance falls from one
// voltage to another through stages one after the other, of which the last
// goes on for ever: first the bleed resistor alone, then the active discharge
// with it. In each stage
//
//	V(t) = V₀·e^(−t/RC)      t = R·C·ln(V₀/V)
//
// It is nought if the voltage is already low enough, and infinite without a
// stage.
func DischargeTime(volts, farads, to float64, stages ...Stage) float64 {
	if volts <= to {
		return 0
	}
	passed := 0.0
	for i, s := range stages {
		tau := s.Ohms * farads
		need := tau * math.Log(volts/to)
		if i == len(stages)-1 || need <= s.Seconds {
			return passed + need
		}
		passed += s.Seconds
		volts *= math.Exp(-s.Seconds / tau)
	}
	return math.Inf(1)
}
