package feature

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// The demo car: 362.4 V, τ 1.741 s, 60 V after 3.131 s, 3.317 s from 403.2 V;
// the least favourable parts have (1.89 kΩ ∥ 23.1 kΩ)·1.122 mF = 1.9601 s, so
// 3.734 s (the project's table), each with the 31 ms of the contactors before.
func TestFullCharge(t *testing.T) {
	car := &Car{MaxVoltage: quantity.Range{Lo: 403.2, Nominal: 403.2, Hi: 403.2}, DischargeTau: quantity.Range{Lo: 1.45, Nominal: 1.70, Hi: 1.9601}}
	exact := func(x, u float64) measure.Reading { return measure.Reading{Value: x, U: u} }
	full, worst, ok := FullCharge(car, exact(3.131+0.031, 0), exact(362.4, 0), exact(1.741, 0))
	require.True(t, ok)
	assert.InDelta(t, 3.317+0.031, full.Value, 1e-3)
	assert.InDelta(t, 3.734+0.031, worst.Value, 1e-3)
	assert.Zero(t, full.U)

	// No draw within the divisions is outside.
	time, start, tau := exact(3.2, 0.5), exact(360, 50), exact(1.7, 0.5)
	full, worst, ok = FullCharge(car, time, start, tau)
	require.True(t, ok)
	for i := range 1000 {
		part := func(k float64) float64 { return math.Sin(float64(i)*k + k) }
		f, w, ok := FullCharge(car, exact(3.2+0.5*part(1), 0), exact(360+50*part(1.3), 0), exact(1.7+0.5*part(1.7), 0))
		require.True(t, ok)
		assert.LessOrEqual(t, math.Abs(f.Value-full.Value), full.U+1e-12)
		assert.LessOrEqual(t, math.Abs(w.Value-worst.Value), worst.U+1e-12)
	}

	// What does not say it.
	for _, no := range [][3]measure.Reading{
		{time, exact(70, 50), tau}, {time, start, exact(0.4, 0.5)}, {time, exact(50, 1), tau},
	} {
		_, _, ok = FullCharge(car, no[0], no[1], no[2])
		assert.False(t, ok, "%v", no)
	}
	_, _, ok = FullCharge(&Car{}, time, start, tau)
	assert.False(t, ok)
}
