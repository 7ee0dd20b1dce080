package hv

import "math"

// InsulationAt gives what an insulation resistance measured at one
// temperature would be at another, °C, by the rule that it halves every
// 10 K (insulation meter makers; the older curve of IEEE 43, from memory).
// It is shown beside a reading and never lifts a fail to a pass.
func InsulationAt(measured, at, to float64) float64 {
	return measured * math.Pow(0.5, (to-at)/10)
}
