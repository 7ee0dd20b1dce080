package feature_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture/feature"
	"hvproof/internal/quantity"
)

// pair analyses a pre-charge and a discharge of one link made of these parts.
func pair(t *testing.T, r, c, rd float64, car *feature.Car) (pre, dis *feature.Analysis) {
	t.Helper()
	tau := r * c
	pre = analyse(t, record(tau, 3.2*tau, 4*tau+0.02, 0.9), feature.Request{Kind: feature.KindPrecharge, Car: car})
	axis, v := shape(-0.1, 8, 1e-3, func(t float64) float64 { return 362.4 * math.Exp(-math.Max(0, t)/(rd*c)) }, 0.6, 1.953125, 3)
	dis = analyse(t, waveform(axis, []string{"link"}, quantity.Volt, v), feature.Request{Kind: feature.KindDischarge, Car: car})
	return pre, dis
}

// Which part of a link is not as drawn: known circuits, and the practice
// car's computed figures (τ 34.8 ms and 1.741 s: C 0.9965 to 1.101 mF is
// right, so R is 33.26 Ω, in E24 33).
func TestTogether(t *testing.T) {
	const r, c, rd = 68, 1.02e-3, 1800 * 22000 / 23800.0
	for _, k := range []struct {
		name     string
		r, c, rd float64
		codes    []string
		says     []string
	}{
		{"as drawn", r, c, rd, nil, nil},
		{"as drawn, at the edges", r * 1.03, c * 0.95, rd * 0.97, nil, nil},
		{"33 Ω", 0.0348 / 1.0463e-3, 1.0463e-3, rd, []string{"resistor-differs"},
			[]string{"The pre-charge resistor is 31.", "33 Ω is the nearest", " µF to 1.1 mF, as drawn", "not the capacitance"}},
		{"half the capacitance", r, c / 2, rd, []string{"capacitance-differs"}, []string{"capacitance is 4", "both say so"}},
		{"twice the capacitance", r, 2 * c, rd, []string{"capacitance-differs"}, []string{"capacitance is 1.9", "one more than drawn"}},
		{"discharge resistor doubled", r, c, 2 * rd, []string{"resistor-differs"}, []string{"What discharges the link is 3."}},
		{"two parts", r / 2, c * 0.6, rd * 2, []string{"resistor-differs"}, []string{"No single part explains both"}},
	} {
		t.Run(k.name, func(t *testing.T) {
			pre, dis := pair(t, k.r, k.c, k.rd, sandpiper())
			a := feature.Together(pre, dis, sandpiper())
			t.Log("\n" + describe(a))
			assert.Equal(t, k.codes, codes(a))
			for _, text := range k.says {
				assert.Contains(t, a.Findings[0].Sentence, text)
			}
			near(t, a, "resistance_ratio", k.r/k.rd, 0.005*k.r/k.rd)
			// What is implied rests on the drawn discharge resistor.
			near(t, a, "capacitance", k.c*k.rd/rd, 0.01*k.c*k.rd/rd)
			near(t, a, "resistance", k.r*rd/k.rd, 0.01*k.r*rd/k.rd)
			assert.True(t, a.Superseded("resistor-differs"))
			assert.False(t, a.Superseded("closed-early"))
		})
	}
	pre, dis := pair(t, r, c, rd, nil)
	a := feature.Together(pre, dis, nil)
	require.Len(t, a.Features, 1, "without a car only the ratio")
	assert.False(t, a.Superseded("resistor-differs"))
	a = feature.Together(pre, &feature.Analysis{}, sandpiper())
	assert.Empty(t, a.Features)
	assert.Contains(t, a.Notes[0], "cannot be judged together")
}
