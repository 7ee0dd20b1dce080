package hv

import (
	"fmt"
	"math"
)

// CopperTo20 gives the factor K_t that turns the resistance of annealed
// copper at a temperature in °C into that at 20 °C: 250/(230 + t), IEC 60228,
// whose table it meets to three digits. The coefficient 0.00393 /K gives
// 0.1 % more at 40 °C; this program uses K_t for wire throughout.
func CopperTo20(celsius float64) float64 { return 250 / (230 + celsius) }

// class5 holds the greatest resistance of plain flexible copper conductors,
// IEC 60228 class 5, Ω/m at 20 °C, by cross-section in mm². The three below
// 1.5 mm² are from memory (IEC 60228:2004, table 3).
var class5 = map[float64]float64{
	0.5: 39.0e-3, 0.75: 26.0e-3, 1: 19.5e-3,
	1.5: 13.3e-3, 2.5: 7.98e-3, 4: 4.95e-3, 6: 3.30e-3, 10: 1.91e-3, 16: 1.21e-3,
	25: 0.780e-3, 35: 0.554e-3, 50: 0.386e-3, 70: 0.272e-3, 95: 0.206e-3, 120: 0.161e-3,
}

// CableResistance gives the greatest resistance of a flexible copper cable
// at 20 °C, Ω, from its cross-section in m² and its length in m. A
// cross-section is a name, not a number: only those of the standard are known.
func CableResistance(section, metres float64) (float64, error) {
	mm2 := math.Round(section*1e6*1e3) / 1e3 // without the noise of the conversion
	perMetre, ok := class5[mm2]
	if !ok {
		return 0, fmt.Errorf("%g mm² is no cross-section of IEC 60228", mm2)
	}
	if !(metres >= 0) {
		return 0, fmt.Errorf("a cable cannot be %g m long", metres)
	}
	return perMetre * metres, nil
}
