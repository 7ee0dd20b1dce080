package hv

import "math"

// A Tester is an insulation tester: its test voltage, V, and the current, A,
// that it gives into a short. IEC 61557-2:2019, 6.4, asks for at least 1 mA
// through 1000 Ω for each volt.
type Tester struct{ Volts, Amps float64 }

// Settling gives the time, s, until the tester shows an insulation
// resistance, Ω, with a capacitance, F, across it to within a part of it. The
// tester counts as its voltage behind V/I, the slowest source with that data:
// the capacitance then draws
//
//	I_C = V/R_s · e^(−t/τ)      τ = (R_s∥R)·C
//
// beside V/(R_s + R) through the insulation, and what is shown is right to
// within the part when I_C is no more than that of it. Before, the reading is
// too low.
func (t Tester) Settling(ohms, farads, part float64) float64 {
	rs := t.Volts / t.Amps
	return math.Max(0, parallel(rs, ohms)*farads*math.Log((rs+ohms)/(rs*part)))
}
