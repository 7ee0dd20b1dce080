package deskcheck

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Formulas refuse a range that is not lowest <= nominal <= highest. What the
// last bits do to three computations of one number must not make a car
// refused that differs from the demo's by its cells only: 100 in series once
// gave 470 A above 470 A.
func TestRangesAreOrdered(t *testing.T) {
	seen := 0
	for series := 40; series <= 230; series += 6 {
		car := load(t, sandpiper, "series: 96", fmt.Sprintf("series: %d", series))
		for _, m := range makers(car) {
			v := m.make()
			if v.Absent != "" {
				continue
			}
			seen++
			assert.True(t, v.Lo <= v.Nominal && v.Nominal <= v.Hi, "%d cells: %s: %.17g, %.17g, %.17g", series, m.name, v.Lo, v.Nominal, v.Hi)
		}
	}
	assert.Greater(t, seen, 31*10, "values over all cars")
}

// A disorder that is none of rounding stays, so that it is seen.
func TestOutward(t *testing.T) {
	lo, hi := outward(200, 199.99999999999997, 200)
	assert.Equal(t, []float64{199.99999999999997, 200}, []float64{lo, hi})
	lo, hi = outward(2, 1.9, 3)
	assert.Equal(t, []float64{2, 3}, []float64{lo, hi})
}
