package hv

import (
	"fmt"
	"math"
)

// e24 is the series E24 of IEC 60063. A list in circulation prints 4.2 for
// 4.3.
var e24 = [24]float64{10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91}

// E24Below gives the largest value of the series E24 that is not above the
// resistance wanted, Ω: a fault to be made of at most so many ohms.
func E24Below(ohms float64) (float64, error) {
	if !(ohms > 0) || math.IsInf(ohms, 1) {
		return 0, fmt.Errorf("%g Ω is no resistance to choose a part for", ohms)
	}
	const noise = 1e-9 // 82e3 may come as 81.99999999999e3
	decade := math.Pow(10, math.Floor(math.Log10(ohms*(1+noise)))-1)
	best := 91 * decade / 10
	for _, digits := range e24 {
		if digits*decade > ohms*(1+noise) {
			break
		}
		best = digits * decade
	}
	return best, nil
}
