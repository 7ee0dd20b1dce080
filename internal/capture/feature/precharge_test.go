package feature_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
)

func codes(a *feature.Analysis) []string {
	var out []string
	for _, f := range a.Findings {
		out = append(out, f.Code)
	}
	return out
}

func describe(a *feature.Analysis) string {
	var b strings.Builder
	for _, f := range a.Features {
		fmt.Fprintf(&b, "  %-20s %.6g ± %.3g\n", f.Name, f.Value, f.U)
	}
	for _, f := range a.Findings {
		fmt.Fprintf(&b, "  %s: %s\n", f.Code, f.Sentence)
	}
	for _, n := range a.Notes {
		fmt.Fprintf(&b, "  - %s\n", n)
	}
	return b.String()
}

// healthy circuits of every kind: none may have a finding.
func TestPrechargeHealthy(t *testing.T) {
	n := 0
	for _, r := range []float64{33, 100, 470} {
		for _, c := range []float64{0.5e-3, 4.7e-3} {
			for _, bleed := range []float64{0, 22e3} {
				for _, closeAt := range []float64{0, 3.2, 4.5} {
					for _, record := range []struct {
						per   float64
						noise float64
						bits  int
					}{{200, 0, 0}, {30, 0.8, 0}, {500, 0.5, 8}, {100, 0, 8}, {1000, 2, 12}} {
						if bleed > 0 && r > 100 {
							continue // that would rightly be a load
						}
						tau := r * c
						k := circuit{vp: 398, r: r, c: c, bleed: bleed, closeAt: closeAt * tau, from: -0.5 * tau, to: 7 * tau,
							dt: tau / record.per, noise: record.noise, bits: record.bits, full: 500, seed: uint64(n)}
						n++
						a, err := feature.Analyse(k.wave(), feature.Request{Kind: feature.KindPrecharge})
						require.NoError(t, err)
						name := fmt.Sprintf("R %g C %g bleed %g close %g τ record %+v", r, c, bleed, closeAt, record)
						if !assert.Empty(t, codes(a), name) {
							t.Log(describe(a))
							continue
						}
						f, ok := a.Feature("tau")
						require.True(t, ok, name)
						want := tau
						if bleed > 0 {
							want = c * r * bleed / (r + bleed)
						}
						assert.InDelta(t, want, f.Value, 1.5*f.U+1e-3*want, name)
						if closeAt > 0 {
							reach := 1.0
							if bleed > 0 {
								reach = bleed / (r + bleed)
							}
							g, ok := a.Feature("fraction_at_close")
							if assert.True(t, ok, name+"\n"+describe(a)) {
								assert.InDelta(t, reach*(1-expNeg(closeAt*tau/want)), g.Value, 1.5*g.U+0.004, name)
							}
						}
					}
				}
			}
		}
	}
	t.Logf("%d circuits", n)
}

func TestPrechargeFaults(t *testing.T) {
	base := circuit{vp: 398, r: 68, c: 1.02e-3, bleed: 22e3, closeAt: 0.25, from: -0.03, to: 0.4, dt: 1e-4, noise: 0.5, bits: 10, full: 500}
	with := func(f func(*circuit)) circuit { k := base; f(&k); return k }
	power := func(p, from float64) func(v, t float64) float64 {
		return func(v, _ float64) float64 {
			if v < from {
				return 0
			}
			return p / v
		}
	}
	for _, c := range []struct {
		name string
		k    circuit
		want []string
	}{
		{"discharge resistor stuck, 96 %", with(func(k *circuit) { k.bleed = 68 * 24; k.closeAt = 0.45; k.to = 0.6 }), []string{"load-during-precharge"}},
		{"0.66 A drawn", with(func(k *circuit) {
			k.load = func(v, _ float64) float64 { return 0.66 }
			k.start = 0
			k.closeAt = 0
			k.to = 0.5
		}), []string{"load-during-precharge"}},
		{"converter from 60 V", with(func(k *circuit) {
			k.vp, k.r, k.c, k.bleed = 134, 100, 4.7e-3, 0
			k.load, k.closeAt, k.to, k.dt, k.full = power(25, 60), 0, 4, 1e-3, 200
		}), []string{"knee", "load-during-precharge"}},
		{"closed at 80 %", with(func(k *circuit) { k.closeAt = 0.111 }), []string{"closed-early"}},
		{"closed at 30 %", with(func(k *circuit) { k.closeAt = 0.025 }), []string{"closed-early"}},
		{"welded", with(func(k *circuit) { k.start = 398; k.r = 0.05 }), []string{"already-live"}},
		{"never pre-charged", with(func(k *circuit) { k.r = 0 }), []string{"never-precharged", "load-not-connected"}},
		{"nothing at all", with(func(k *circuit) { k.r, k.closeAt = 0, 0 }), []string{"never-precharged"}},
		{"broken off", with(func(k *circuit) { k.closeAt, k.openAt, k.to, k.bleed = 0, 0.3, 1.2, 1.8e3 }), []string{"load-during-precharge", "never-closed"}},
		{"two branches", with(func(k *circuit) { k.branch = 0.3; k.closeAt = 0; k.to = 1 }), []string{"not-exponential"}},
		{"few samples", with(func(k *circuit) { k.dt = 0.012; k.closeAt = 0 }), []string{"too-few-samples"}},
		{"noise", with(func(k *circuit) { k.noise = 60 }), []string{"too-noisy"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			a, err := feature.Analyse(c.k.wave(), feature.Request{Kind: feature.KindPrecharge})
			require.NoError(t, err)
			got := codes(a)
			for _, w := range c.want {
				assert.Contains(t, got, w)
			}
			for _, g := range got {
				if !slices.Contains(c.want, g) {
					t.Errorf("also %s", g)
				}
			}
			t.Log("\n" + describe(a))
		})
	}
}

// Every feature given has its name and dimension in the table.
func TestNames(t *testing.T) {
	for kind, w := range map[string]*capture.Waveform{
		feature.KindPrecharge: record(0.0348, 0.107, 0.15, 0.9), feature.KindEmergencyOff: emergency(func(string, float64) (float64, bool) { return 0, false }),
	} {
		a, err := feature.Analyse(w, feature.Request{Kind: kind, Car: sandpiper()})
		require.NoError(t, err)
		require.NotEmpty(t, a.Features)
		for _, f := range a.Features {
			d, ok := feature.Dim(kind, f.Name)
			assert.True(t, ok, f.Name)
			assert.Equal(t, d, f.Dim, f.Name)
		}
	}
	_, ok := feature.Dim(feature.KindSharing, "share.")
	assert.False(t, ok)
	_, ok = feature.Dim(feature.KindSharing, "share.left")
	assert.True(t, ok)
	_, ok = feature.Dim(feature.KindPrecharge, "Tau")
	assert.False(t, ok)
}
