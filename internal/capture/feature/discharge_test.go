package feature_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/quantity"
)

// shape samples f from start to end in steps of dt, with noise, in steps of q.
func shape(start, end, dt float64, f func(float64) float64, noise, q float64, seed uint64) (*capture.Axis, []float64) {
	n := int(math.Round((end-start)/dt)) + 1
	axis := &capture.Axis{Start: start, Step: dt, N: n}
	r := rand.New(rand.NewPCG(seed, 5))
	v := make([]float64, n)
	for i := range v {
		v[i] = f(axis.At(i)) + noise*r.NormFloat64()
		if q > 0 {
			v[i] = q * math.Round(v[i]/q)
		}
	}
	return axis, v
}

func tolerance(nominal, part float64) quantity.Range {
	return quantity.Range{Lo: nominal * (1 - part), Nominal: nominal, Hi: nominal * (1 + part)}
}

// sandpiper is the practice car's data (computed figures of the practice car).
func sandpiper() *feature.Car {
	return &feature.Car{
		Tau:         quantity.Range{Lo: 59.30e-3, Nominal: 69.36e-3, Hi: 80.11e-3},
		Resistance:  tolerance(68, 0.05),
		Capacitance: tolerance(1.02e-3, 0.10),
		Target:      quantity.Range{Lo: 0.95, Nominal: 0.95, Hi: 0.95},
		Reachable:   quantity.Range{Lo: 0.9966, Nominal: 0.9969, Hi: 0.9972},
		MaxVoltage:  quantity.Range{Lo: 403.2, Nominal: 403.2, Hi: 403.2},

		DischargeResistance: tolerance(1800*22000/23800.0, 0.05),
		DischargeTau:        quantity.Range{Lo: 1.4510, Nominal: 1.6971, Hi: 1.9602},
		DischargeWithin:     quantity.Range{Lo: 5, Nominal: 5, Hi: 5},
		Packs:               []string{"left", "right"},
		Shares: map[string]quantity.Range{
			"left":  {Lo: 0.5684, Nominal: 0.6648, Hi: 0.7493},
			"right": {Lo: 0.2507, Nominal: 0.3352, Hi: 0.4316},
		},
	}
}

func analyse(t *testing.T, w *capture.Waveform, r feature.Request) *feature.Analysis {
	t.Helper()
	a, err := feature.Analyse(w, r)
	require.NoError(t, err)
	t.Log("\n" + describe(a))
	for _, f := range a.Features {
		require.False(t, math.IsNaN(f.Value) || math.IsNaN(f.U) || math.IsInf(f.U, 0), f.Name)
	}
	return a
}

func near(t *testing.T, a *feature.Analysis, name string, want, within float64) {
	t.Helper()
	f, ok := a.Feature(name)
	if assert.True(t, ok, "no feature %s", name) {
		assert.InDelta(t, want, f.Value, within, name)
		assert.LessOrEqual(t, math.Abs(f.Value-want), f.U+1e-3*math.Abs(want), "%s: U %g too small", name, f.U)
	}
}

// The practice car's discharge: 362.4 V held for 31 ms after the trip, then
// τ 1.741 s; 60 V 3.131 s later; from 403.2 V it is 3.317 s.
func sandpiperDischarge(t float64) float64 {
	return 362.4 * math.Exp(-math.Max(0, t-0.031)/1.741)
}

func TestDischargeOfThePracticeCar(t *testing.T) {
	axis, v := shape(-0.1, 8, 1e-3, sandpiperDischarge, 0.6, 1.953125, 3)
	a := analyse(t, waveform(axis, []string{"link"}, quantity.Volt, v), feature.Request{Kind: feature.KindDischarge, Car: sandpiper()})
	assert.Empty(t, codes(a))
	near(t, a, "time_to_60V", 3.131, 0.01)
	near(t, a, "tau", 1.741, 0.003)
	near(t, a, "time_to_60V_full_charge", 3.317, 0.01)
	near(t, a, "time_to_60V_worst", 3.317*1.9602/1.741, 0.02) // 3.734 s, as the car's data give it
	near(t, a, "implied_capacitance", 1.0463e-3, 2e-6)        // 0.9965 to 1.101 mF
	f, _ := a.Feature("implied_capacitance")
	assert.InDelta(t, 0.055e-3, f.U, 0.003e-3)
}

func TestDischargeFaults(t *testing.T) {
	decay := func(v0, end, tau float64) func(float64) float64 {
		return func(t float64) float64 { return end + (v0-end)*math.Exp(-math.Max(0, t)/tau) }
	}
	for _, v := range []float64{150, 362.4, 398, 780} {
		drop := math.Max(0.37*v, 90)
		two := func(t float64) float64 { // active discharge drops out at a third
			const t1 = 1.7
			k := t1 * math.Log(v/drop)
			if t < k {
				return decay(v, 0, t1)(t)
			}
			return drop * math.Exp(-(t-k)/20)
		}
		short := 0.6 * 1.7 * math.Log(v/60)
		for _, c := range []struct {
			name string
			f    func(float64) float64
			end  float64
			want []string
		}{
			{"healthy", decay(v, 0, 1.7), 8, nil},
			{"healthy, quick", decay(v, 0, 0.5), 8, nil},
			{"recording too short", decay(v, 0, 1.7), short, []string{"not-below-60V"}},
			{"passive only", decay(v, 0, 22.4), 65, []string{"discharge-late"}},
			{"levels off", decay(v, 70+0.1*v, 1.7), 12, []string{"held-up", "not-below-60V"}},
			{"levels off low", decay(v, 40, 1.1), 12, []string{"held-up"}},
			{"stays", decay(v, v, 1), 8, []string{"held-up", "not-below-60V"}},
			{"drops out", two, 65, []string{"discharge-late"}},
		} {
			t.Run(fmt.Sprintf("%s, %g V", c.name, v), func(t *testing.T) {
				axis, y := shape(-0.2, c.end, 2e-3, c.f, 0.5, 0.5, 1)
				a := analyse(t, waveform(axis, []string{"u_dc"}, quantity.Volt, y), feature.Request{Kind: feature.KindDischarge})
				slices.Sort(c.want)
				got := codes(a)
				slices.Sort(got)
				assert.Equal(t, c.want, got)
			})
		}
	}
}

func TestDischargeCountsFromTheContactor(t *testing.T) {
	axis, v := shape(-0.5, 8, 1e-3, func(t float64) float64 { return 398 * math.Exp(-math.Max(0, t-0.8)/1.2) }, 0.5, 0, 1)
	_, k := shape(-0.5, 8, 1e-3, func(t float64) float64 {
		if t < 0 {
			return 12
		}
		return 0
	}, 0.05, 0, 2)
	w := waveform(axis, []string{"link", "main contactor"}, quantity.Volt, v, k)
	a := analyse(t, w, feature.Request{Kind: feature.KindDischarge})
	near(t, a, "time_to_60V", 0.8+1.2*math.Log(398.0/60), 0.01)
	assert.Equal(t, []string{"discharge-late"}, codes(a))
}

// trip at 0, coil 2 ms later, contactor 31 ms, current falls with an arc of
// 3 ms, link decays from there.
func emergency(f func(role string, t float64) (float64, bool)) *capture.Waveform {
	base := func(role string, t float64) float64 {
		if v, ok := f(role, t); ok {
			return v
		}
		switch role {
		case "trip":
			return map[bool]float64{true: 12, false: 0}[t < 0]
		case "coil":
			return map[bool]float64{true: 11, false: 0}[t < 0.002]
		case "main_contactor":
			return map[bool]float64{true: 5, false: 0}[t < 0.031]
		case "current":
			return 1
		}
		return 398 * math.Exp(-math.Max(0, t-0.031)/1.2)
	}
	var w *capture.Waveform
	for i, role := range []string{"dc_link", "trip", "coil", "main_contactor", "current"} {
		axis, v := shape(-0.2, 6, 2e-4, func(t float64) float64 { return base(role, t) }, 0.05, 0, uint64(i))
		if w == nil {
			w = waveform(axis, nil, quantity.Volt)
		}
		dim := quantity.Volt
		if role == "current" {
			dim = quantity.Ampere
		}
		w.Channels = append(w.Channels, capture.Channel{Name: role, Dim: dim, Axis: axis, V: v})
	}
	return w
}

func TestEmergencyOff(t *testing.T) {
	none := func(string, float64) (float64, bool) { return 0, false }
	a := analyse(t, emergency(none), feature.Request{Kind: feature.KindEmergencyOff})
	assert.Empty(t, codes(a))
	near(t, a, "trip_to_60V", 0.031+1.2*math.Log(398.0/60), 0.01)
	near(t, a, "latency.coil", 0.002, 3e-4)
	near(t, a, "latency.main_contactor", 0.031, 3e-4)

	for i, amps := range []float64{20, 150, 400} {
		early := []float64{0.02, 0.05, 0.1}[i]
		for _, c := range []struct {
			name string
			f    func(role string, t float64) (float64, bool)
			want []string
		}{
			{"contactor stays", func(r string, t float64) (float64, bool) { return 5, r == "main_contactor" }, []string{"contactor-stuck"}},
			{"current goes on", func(r string, t float64) (float64, bool) { return amps, r == "current" }, []string{"contactor-stuck"}},
			{"under load", func(r string, t float64) (float64, bool) {
				switch {
				case t < 0.031:
					return amps, r == "current"
				case t < 0.034:
					return amps * (0.034 - t) / 0.003, r == "current"
				}
				return 0, r == "current"
			}, []string{"opened-under-load"}},
			{"contactor before the trip", func(r string, t float64) (float64, bool) {
				return map[bool]float64{true: 5, false: 0}[t < -early], r == "main_contactor"
			}, []string{"wrong-order"}},
			{"link stays", func(r string, t float64) (float64, bool) { return 398, r == "dc_link" }, []string{"held-up", "not-below-60V"}},
		} {
			t.Run(fmt.Sprintf("%s, %g A", c.name, amps), func(t *testing.T) {
				a := analyse(t, emergency(c.f), feature.Request{Kind: feature.KindEmergencyOff})
				got := codes(a)
				slices.Sort(got)
				assert.Equal(t, c.want, got)
				if c.name == "under load" {
					near(t, a, "arc_duration", 0.003, 6e-4)
					near(t, a, "current_at_opening", amps, 2)
				}
			})
		}
	}
}

func TestSharing(t *testing.T) {
	for _, most := range []float64{100, 300, 470} {
		load := func(t float64) float64 { return most * math.Min(1, math.Max(0, t)) }
		record := func(left, right float64) *capture.Waveform {
			axis, l := shape(-1, 9, 0.01, func(t float64) float64 { return load(t) * left }, 0.5, 0, 1)
			_, r := shape(-1, 9, 0.01, func(t float64) float64 { return load(t) * right }, 0.5, 0, 2)
			return waveform(axis, []string{"I left", "I right"}, quantity.Ampere, l, r)
		}
		// The practice car at 300 A: left 199.1 A, right 100.9 A, 0.6637.
		a := analyse(t, record(0.6637, 0.3363), feature.Request{Kind: feature.KindSharing, Car: sandpiper()})
		assert.Empty(t, codes(a))
		near(t, a, "share.left", 0.6637, 1e-3)
		a = analyse(t, record(0.50, 0.50), feature.Request{Kind: feature.KindSharing, Car: sandpiper()})
		assert.Equal(t, []string{"share-differs"}, slices.Compact(codes(a)))
		a = analyse(t, record(1, 0.001), feature.Request{Kind: feature.KindSharing, Car: sandpiper()})
		assert.Contains(t, codes(a), "one-pack-missing")
	}
}

func TestCoil(t *testing.T) {
	for _, k := range []float64{0.5, 1, 3} { // slower and slower coils
		pulls := func(t float64) float64 {
			t /= k
			top := 0.5 * -math.Expm1(-1.2)
			switch {
			case t < 0:
				return 0
			case t < 0.012: // rises, slowed by the moving armature
				return 0.5 * -math.Expm1(-t/0.01)
			case t < 0.016:
				return top - 0.15*(t-0.012)/0.004
			}
			low := top - 0.15
			return low + (0.5-low)*-math.Expm1(-(t-0.016)/0.015)
		}
		axis, v := shape(-0.01, 0.2*k, 5e-5, pulls, 0.002, 0, 1)
		a := analyse(t, waveform(axis, []string{"coil"}, quantity.Ampere, v), feature.Request{Kind: feature.KindCoil})
		assert.Empty(t, codes(a))
		near(t, a, "pull_in_time", 0.016*k, 4e-4*k+1e-4)
		axis, v = shape(-0.01, 0.2*k, 5e-5, func(t float64) float64 { return 0.5 * -math.Expm1(-math.Max(0, t)/0.015/k) }, 0.002, 0, 1)
		a = analyse(t, waveform(axis, []string{"coil"}, quantity.Ampere, v), feature.Request{Kind: feature.KindCoil})
		assert.Equal(t, []string{"not-pulled-in"}, codes(a))
	}
}
