package feature_test

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture/feature"
)

// What is found may not hang on how the noise fell: each circuit is recorded
// with several noises (tried with fifty). Circuits by midpoint steps; what must be found follows
// from their parts.
func TestFindingsWhateverTheNoise(t *testing.T) {
	const runs = 8
	type parts struct{ vp, r, c, noise float64 }
	cars := []parts{{134, 100, 4.7e-3, 0.2}, {362.4, 68, 1.02e-3, 0.5}, {398, 47, 2e-3, 0.8}}
	converter := func(part, noise float64) func(parts, *circuit) {
		return func(p parts, k *circuit) {
			k.noise *= noise
			k.load = func(v, _ float64) float64 {
				if v < 0.45*p.vp {
					return 0
				}
				return part * p.vp * p.vp / p.r / v
			}
		}
	}
	closing := func(after float64) func(parts, *circuit) {
		return func(p parts, k *circuit) { k.closeAt = after * p.r * p.c }
	}
	for _, c := range []struct {
		name   string
		change func(parts, *circuit)
		want   []string
		or     string // may be said instead of all: nothing is decided then
	}{
		{"healthy", func(parts, *circuit) {}, nil, ""},
		{"healthy, closed at 3.2 τ", closing(3.2), nil, ""},
		{"healthy, closed at 4.4 τ", closing(4.4), nil, ""},
		{"healthy, few samples", func(p parts, k *circuit) { k.dt *= 10 }, nil, ""},
		{"healthy, three times the noise", func(p parts, k *circuit) { k.noise *= 3 }, nil, ""},
		{"a converter", converter(0.15, 1), []string{"knee", "load-during-precharge"}, ""},
		{"a converter, three times the noise", converter(0.15, 3), []string{"knee", "load-during-precharge"}, ""},
		{"a smaller one", converter(0.08, 1), []string{"knee", "load-during-precharge"}, ""},
		{"closed at 2 τ", closing(2), []string{"closed-early"}, ""},
		{"closed at 2.7 τ", closing(2.7), []string{"closed-early"}, ""},
		{"broken off", func(p parts, k *circuit) { k.openAt, k.bleed, k.to = 5*p.r*p.c, 100*p.r, 10*p.r*p.c }, []string{"never-closed"}, "not-exponential"},
		{"a resistor that stays", func(p parts, k *circuit) { k.bleed = 24 * p.r }, []string{"load-during-precharge"}, ""},
		{"a second branch", func(p parts, k *circuit) { k.branch = 0.3; k.to *= 1.5 }, []string{"not-exponential"}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, p := range cars {
				tau := p.r * p.c
				k := circuit{vp: p.vp, r: p.r, c: p.c, from: -0.5 * tau, to: 8 * tau, dt: tau / 200, noise: p.noise, bits: 12, full: 500}
				c.change(p, &k)
				link, pack := k.run()
				missed := map[string]int{}
				for seed := range runs {
					k.seed = uint64(seed)
					a, err := feature.Analyse(k.record(link, pack), feature.Request{Kind: feature.KindPrecharge})
					require.NoError(t, err)
					got := codes(a)
					slices.Sort(got)
					if !slices.Equal(got, c.want) && (c.or == "" || !slices.Equal(got, []string{c.or})) {
						missed[fmt.Sprint(got)]++
					}
				}
				assert.Empty(t, missed, "%g V", p.vp)
			}
		})
	}
}

// Where the noise hides whether the slope breaks, that is said: nothing may
// be passed on a curve that nobody could judge.
func TestNoiseIsSaid(t *testing.T) {
	const v, r, c = 398.0, 68.0, 1.02e-3
	k := circuit{vp: v, r: r, c: c, from: -0.5 * r * c, to: 8 * r * c, dt: r * c / 200, load: func(x, _ float64) float64 {
		if x < 0.3*v || x > 0.7*v { // a load that comes and goes, and leaves the plateau whole
			return 0
		}
		return 0.15 * v / r
	}}
	link, pack := k.run()
	// What is known to be there may be found, but nothing else.
	real := []string{"knee", "not-exponential", "too-noisy"}
	for _, part := range []float64{0.001, 0.003, 0.01, 0.02, 0.05, 0.1, 0.2, 0.4} {
		k.noise = part * v
		said := map[string]int{}
		silent := 0
		for seed := range 30 {
			k.seed = uint64(seed)
			a, err := feature.Analyse(k.record(link, pack), feature.Request{Kind: feature.KindPrecharge})
			require.NoError(t, err)
			if len(codes(a)) == 0 {
				silent++
			}
			for _, x := range codes(a) {
				said[x]++
				assert.Contains(t, real, x)
			}
		}
		t.Logf("noise %.1f V: %v", k.noise, said)
		assert.Zero(t, silent, "noise %g V", k.noise)
	}
}
