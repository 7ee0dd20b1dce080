package feature

import (
	"math"

	"hvproof/internal/measure"
)

// FullCharge re-scales a time to 60 V, s, that was read off a screen: to full
// charge, and to the least favourable tolerance of the car's parts. The link
// began at start, V, and fell with tau, s; what of the time the fall itself did
// not take passed before it. Each of the three is good to its U, and the result
// covers all their corners. It is false where the car's data or the readings do
// not say it.
func FullCharge(c *Car, time, start, tau measure.Reading) (full, worst measure.Reading, ok bool) {
	if !stated(c.MaxVoltage) || start.Value-start.U <= lowVolts || tau.Value-tau.U <= 0 {
		return full, worst, false
	}
	scaled := func(x, v, tau float64) (full, worst float64) {
		delay := math.Max(0, x-tau*math.Log(v/lowVolts))
		full = x + math.Max(0, tau*math.Log(c.MaxVoltage.Hi/v))
		return full, delay + (full-delay)*math.Max(1, c.DischargeTau.Hi/tau)
	}
	full, worst = time, time
	full.Value, worst.Value = scaled(time.Value, start.Value, tau.Value)
	full.U, worst.U = 0, 0
	for corner := range 8 {
		at := func(bit int, r measure.Reading) float64 {
			if corner>>bit&1 == 1 {
				return r.Value + r.U
			}
			return r.Value - r.U
		}
		f, w := scaled(at(0, time), at(1, start), at(2, tau))
		full.U, worst.U = math.Max(full.U, math.Abs(f-full.Value)), math.Max(worst.U, math.Abs(w-worst.Value))
	}
	return full, worst, true
}
