package fit_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture/fit"
)

// bess is the practice car with a converter left on: 134 V through 100 Ω onto
// 4.7 mF, 25 W drawn from 60 V upwards, by Euler steps of 10 µs.
func bess(n int, dt float64) []float64 {
	out := make([]float64, n)
	v := 0.0
	const h = 1e-5
	for i := range out {
		out[i] = v
		for range int(math.Round(dt / h)) {
			load := 0.0
			if v >= 60 {
				load = 25 / v
			}
			v += h * ((134-v)/100 - load) / 4.7e-3
		}
	}
	return out
}

func TestBreaks(t *testing.T) {
	closing := func(at, tau, level float64) func(float64) float64 {
		return func(t float64) float64 {
			if t >= at {
				return level
			}
			return charge(level, tau)(t)
		}
	}
	for _, c := range []struct {
		name    string
		s       fit.Samples
		jumps   []float64 // their sizes
		at      []float64
		knees   int
		atKnee  float64
		atError float64
	}{
		{"exponential", curve(12000, 0, 1e-4, charge(398, 0.0995), 0.8, 2, 1), nil, nil, 0, 0, 0},
		{"exponential, clean", curve(12000, 0, 1e-4, charge(398, 0.0995), 0, 0, 1), nil, nil, 0, 0, 0},
		{"exponential, 8 bit", curve(3000, 0, 5e-5, charge(362, 0.0348), 0, 1.953, 1), nil, nil, 0, 0, 0},
		{"exponential, few", curve(60, 0, 1e-2, charge(398, 0.0995), 0.8, 0, 1), nil, nil, 0, 0, 0},
		{"closed at 95 %", curve(3000, 0, 5e-5, closing(0.107, 0.0348, 362.4), 0.5, 1.953, 1), []float64{16.74}, []float64{0.107}, 0, 0, 1e-4},
		{"closed at 95 %, clean", curve(3000, 0, 5e-5, closing(0.107, 0.0348, 362.4), 0, 0, 1), []float64{16.74}, []float64{0.107}, 0, 0, 1e-4},
		{"closed at 99 %", curve(3000, 0, 2e-4, closing(0.5, 0.1, 400), 0.8, 0, 1), []float64{2.7}, []float64{0.5}, 0, 0, 5e-4},
		{"closed at 80 %, few", curve(80, 0, 5e-3, closing(0.16, 0.1, 400), 1, 0, 1), []float64{80}, []float64{0.16}, 0, 0, 6e-3},
		{"converter from 60 V", fit.Samples{Step: 1e-3, Y: bess(4000, 1e-3)}, nil, nil, 1, 0.2791, 0.02},
	} {
		t.Run(c.name, func(t *testing.T) {
			var jumps []fit.Break
			knees := 0
			for _, b := range fit.Breaks(c.s) {
				t.Logf("%+v", b)
				if b.Knee() {
					if knees == 0 {
						assert.InDelta(t, c.atKnee, b.T, c.atError)
					}
					knees++
					continue
				}
				jumps = append(jumps, b)
			}
			assert.Equal(t, c.knees, knees, "knees")
			require.Len(t, jumps, len(c.jumps), "jumps")
			for i := range jumps {
				assert.InDelta(t, c.jumps[i], jumps[i].Jump, 0.05*c.jumps[i]+1)
				assert.InDelta(t, c.at[i], jumps[i].T, c.atError)
			}
		})
	}
}

func TestCrossing(t *testing.T) {
	decay := func(t float64) float64 { return 362.4 * math.Exp(-t/1.741) }
	s := curve(8000, 0, 1e-3, decay, 0.6, 1.953, 4)
	at, se, ok := fit.Crossing(s, 0, 60, false)
	require.True(t, ok)
	assert.InDelta(t, 3.1309, at, 0.01)
	assert.Less(t, se, 0.01)
	// One that levels off near the level is bent there.
	s = curve(4000, 0, 2e-3, func(t float64) float64 { return 40 + 322*math.Exp(-t/1.5) }, 0.2, 0.1, 5)
	at, se, ok = fit.Crossing(s, 0, 60, false)
	require.True(t, ok)
	assert.InDelta(t, 1.5*math.Log(322.0/20), at, 3*se+1e-4)
	// Few samples: between the two that lie about it.
	s = curve(20, 0, 0.4, decay, 0.5, 0, 6)
	at, se, ok = fit.Crossing(s, 0, 60, false)
	require.True(t, ok)
	assert.InDelta(t, 3.1309, at, 0.1)
	assert.InDelta(t, 3.1309, at, 2*se)
	_, _, ok = fit.Crossing(s, 0, 1000, true)
	assert.False(t, ok)
}

func TestEdges(t *testing.T) {
	s := curve(5000, 0, 1e-4, func(t float64) float64 {
		if t > 0.1 && t < 0.3 {
			return 12
		}
		return 0
	}, 0.1, 0, 1)
	e, lo, hi, ok := fit.Edges(s)
	require.True(t, ok)
	require.Len(t, e, 2)
	assert.InDelta(t, 0, lo, 0.5)
	assert.InDelta(t, 12, hi, 0.5)
	assert.InDelta(t, 0.1, e[0].T, 2e-4)
	assert.True(t, e[0].Up)
	assert.False(t, e[1].Up)
	_, _, _, ok = fit.Edges(curve(5000, 0, 1e-4, func(float64) float64 { return 12 }, 0.1, 0, 1))
	assert.False(t, ok)
}
