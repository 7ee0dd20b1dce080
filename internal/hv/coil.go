package hv

import "math"

// A Coil is a contactor's coil as its supply is cut: what it was fed with, V,
// its resistance, Ω, and inductance, H, with the armature in, and the voltage
// of what is across it, V: 0.7 of a diode, more of a clamp.
type Coil struct{ Volts, Ohms, Henries, Clamp float64 }

// Decay gives the time, s, until the current has fallen to that of a coil
// voltage, V, such as the one at which the armature lets go. The current goes
// on through diode or clamp against its voltage,
//
//	L·di/dt + R·i + V_c = 0      i(0) = V/R
//	t = L/R · ln((V + V_c)/(V_d + V_c))
//
// (Kirchhoff; relay makers' notes on coil suppression print the same circuit,
// and 2 to 5 times the release time for a diode, read.) A diode leaves the
// coil to its own time constant; a clamp of the supply's voltage shortens that
// to a part. It is nought if the current is already below.
func (c Coil) Decay(to float64) float64 {
	if c.Volts <= to {
		return 0
	}
	return c.Henries / c.Ohms * math.Log((c.Volts+c.Clamp)/(to+c.Clamp))
}
