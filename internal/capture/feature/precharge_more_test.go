package feature_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// sandpiperCharge is the practice car's pre-charge: 33 Ω fitted for 68 Ω,
// closed at 107 ms.
func sandpiperCharge(tau, closeAt float64) func(float64) float64 {
	return func(t float64) float64 {
		if t >= closeAt {
			return 362.4
		}
		return 362.4 * -math.Expm1(-math.Max(0, t)/tau)
	}
}

func scope() measure.Instrument {
	return measure.Instrument{ID: "scope-1", Functions: []measure.Function{
		{Name: "voltage", Dim: quantity.Volt, Ranges: []measure.MeterRange{{To: 50, Digit: 0.2, PercentOfRange: 0.03}, {To: 500, Digit: 2, PercentOfRange: 0.03}}},
		{Name: "time", Dim: quantity.Second, Ranges: []measure.MeterRange{{To: 10, Digit: 1e-3, PercentOfReading: 5e-5}}},
	}}
}

func record(tau, closeAt, end, noise float64) *capture.Waveform {
	axis, v := shape(-0.01, end, 5e-5, sandpiperCharge(tau, closeAt), noise, 1.953125, 1)
	_, p := shape(-0.01, end, 5e-5, func(float64) float64 { return 362.4 }, noise, 1.953125, 2)
	return waveform(axis, []string{"link", "pack"}, quantity.Volt, v, p)
}

// The practice car: τ 34.8 ms, 95.38 % and a step of 16.74 V at 107 ms; by the
// time constant alone 31.02 to 37.91 Ω or 487.4 to 538.7 µF (its computed
// figures).
func TestPrechargeOfThePracticeCar(t *testing.T) {
	scopes := map[string]measure.Instrument{"": scope()}
	for _, noise := range []float64{0, 0.9} {
		a := analyse(t, record(0.0348, 0.107, 0.15, noise), feature.Request{Kind: feature.KindPrecharge, Car: sandpiper(), Instruments: scopes})
		assert.Equal(t, []string{"resistor-differs", "capacitance-differs"}, codes(a))
		near(t, a, "tau", 34.8e-3, 0.2e-3)
		near(t, a, "fraction_at_close", 0.9538, 0.003)
		near(t, a, "step_at_close", 16.74, 1)
		f, _ := a.Finding("resistor-differs")
		assert.Contains(t, f.Sentence, "31 Ω to 37.9 Ω")
		assert.Contains(t, f.Sentence, "33 Ω is the nearest")
		assert.Contains(t, f.Sentence, "a discharge capture does")
		f, _ = a.Finding("capacitance-differs")
		assert.Contains(t, f.Sentence, " µF to 53") // 487.4 to 538.7 µF, with the scatter of τ
		u, _ := a.Feature("fraction_at_close")
		assert.Less(t, u.U, 0.006, "one channel: the scope's 3 % of full scale drops out")
	}
	// Cured: 68 Ω, τ 70.9 ms.
	a := analyse(t, record(0.0709, 0.25, 0.3, 0.9), feature.Request{Kind: feature.KindPrecharge, Car: sandpiper(), Instruments: scopes})
	assert.Empty(t, codes(a))
	near(t, a, "tau", 70.9e-3, 0.3e-3)
	near(t, a, "implied_resistance", 69.5, 1)
	near(t, a, "resistor_energy", 0.5*1.0426e-3*362.4*362.4*(1-math.Exp(-2*0.25/0.0709)), 1)
}

// Published worked examples of pre-charge: 320 V, 600 Ω, 500 µF: 95 % at
// 0.8987 s (three time constants 0.9 s), 25.6 J; 800 V, 47 Ω, 1000 µF: 47.0 ms,
// 99 % after 216.4 ms, 95 % after 140.8 ms; and 400 V through 600 Ω with 50 W
// constant power, which stalls at 300 V.
func TestPrechargePublishedExamples(t *testing.T) {
	exact := func(x float64) quantity.Range { return quantity.Range{Lo: x, Nominal: x, Hi: x} }
	car := func(r, c float64) *feature.Car {
		return &feature.Car{Tau: tolerance(r*c, 0.01), Resistance: exact(r), Capacitance: exact(c), Target: exact(0.95), Reachable: exact(1)}
	}
	k := circuit{vp: 320, r: 600, c: 500e-6, from: -0.1, to: 3, dt: 5e-4, noise: 0.2}
	a := analyse(t, k.wave(), feature.Request{Kind: feature.KindPrecharge, Car: car(600, 500e-6)})
	assert.Empty(t, codes(a))
	near(t, a, "tau", 0.300, 1e-3)
	near(t, a, "t95", 0.8987, 3e-3)
	near(t, a, "resistor_energy", 25.6, 0.1)

	k = circuit{vp: 800, r: 47, c: 1e-3, from: -0.02, to: 0.5, dt: 1e-4, noise: 0.4}
	a = analyse(t, k.wave(), feature.Request{Kind: feature.KindPrecharge, Car: car(47, 1e-3)})
	assert.Empty(t, codes(a))
	near(t, a, "tau", 47.0e-3, 0.1e-3)
	near(t, a, "t95", 0.1408, 5e-4)
	near(t, a, "resistor_energy", 320, 1.5)

	k = circuit{vp: 400, r: 600, c: 500e-6, from: -0.1, to: 6, dt: 1e-3, noise: 0.2, load: func(v, _ float64) float64 {
		if v < 150 { // below 100 V it could not even start: 100 V and 300 V are the points of rest
			return 0
		}
		return 50 / v
	}}
	a = analyse(t, k.wave(), feature.Request{Kind: feature.KindPrecharge, Car: car(600, 500e-6)})
	assert.Contains(t, codes(a), "load-during-precharge")
	near(t, a, "end_voltage", 300, 2)
	near(t, a, "load_current", 50.0/300, 5e-3)
}

// Old Bess: a converter of 25 W from 60 V upwards stalls pre-charge at 111.6 V
// of 134.0 V; implied power 25.00 W (23.81 to 26.31 over the resistor).
func TestPrechargeOfOldBess(t *testing.T) {
	k := circuit{vp: 134, r: 100, c: 4.7e-3, from: -0.2, to: 4, dt: 1e-3, noise: 0.2, load: func(v, _ float64) float64 {
		if v < 60 {
			return 0
		}
		return 25 / v
	}}
	car := &feature.Car{Tau: quantity.Range{Lo: 0.3572, Nominal: 0.47, Hi: 0.5922}, Resistance: tolerance(100, 0.05),
		Capacitance: tolerance(4.7e-3, 0.2), Target: quantity.Range{Lo: 0.95, Nominal: 0.95, Hi: 0.95}, Reachable: quantity.Range{Lo: 0.98, Nominal: 0.99, Hi: 0.99}}
	a := analyse(t, k.wave(), feature.Request{Kind: feature.KindPrecharge, Car: car})
	got := codes(a)
	slices.Sort(got)
	assert.Equal(t, []string{"knee", "load-during-precharge"}, got)
	near(t, a, "end_voltage", 111.6, 0.5)
	f, _ := a.Finding("load-during-precharge")
	assert.Contains(t, f.Sentence, "as a converter 2")
	assert.Contains(t, f.Sentence, "knee speaks for a converter")
}

func TestPrechargeCodes(t *testing.T) {
	base := circuit{vp: 398, r: 68, c: 1.02e-3, bleed: 22e3, closeAt: 0.25, from: -0.05, to: 0.4, dt: 1e-4, noise: 0.4}
	two := func(from, to, level float64) func(*capture.Waveform) []float64 {
		return func(w *capture.Waveform) []float64 {
			axis := w.Channels[0].Axis
			v := make([]float64, axis.N)
			for i := range v {
				if x := axis.At(i); x >= from && x < to {
					v[i] = level
				}
			}
			return v
		}
	}
	add := func(w *capture.Waveform, name string, f func(*capture.Waveform) []float64) *capture.Waveform {
		w.Channels = append(w.Channels, capture.Channel{Name: name, Dim: quantity.Volt, Axis: w.Channels[0].Axis, V: f(w)})
		return w
	}
	for _, c := range []struct {
		name string
		make func() *capture.Waveform
		car  *feature.Car
		want []string
	}{
		{"main contactor's signal, healthy", func() *capture.Waveform {
			return add(base.wave(), "main contactor", two(0.24, 1, 12))
		}, sandpiper(), nil},
		{"bounce on the link", func() *capture.Waveform {
			k := base
			k.c, k.closeAt, k.bounces, k.bleed, k.dt = 1.02e-3, 0.15, []float64{0.1502, 0.152}, 0, 5e-5
			k.loop, k.load = 0.3, nil
			w := k.wave()
			return w
		}, nil, []string{"closed-early", "contactor-bounce"}},
		{"bounce on the auxiliary contact", func() *capture.Waveform {
			w := base.wave()
			v := two(0.25, 1, 12)(w)
			for i := range v {
				if x := w.Channels[0].Axis.At(i); (x > 0.252 && x < 0.254) || (x > 0.256 && x < 0.257) {
					v[i] = 0
				}
			}
			return add(w, "main contactor", func(*capture.Waveform) []float64 { return v })
		}, nil, []string{"contactor-bounce"}},
		{"main never commanded", func() *capture.Waveform {
			k := base
			k.closeAt = 0
			w := add(k.wave(), "main contactor", func(w *capture.Waveform) []float64 { return make([]float64, w.Channels[0].Axis.N) })
			return w
		}, nil, []string{"never-closed"}},
		{"main commanded, link stays short of the pack", func() *capture.Waveform {
			k := base
			k.closeAt, k.bleed, k.to = 0, 1700, 0.8
			return add(k.wave(), "main contactor", two(0.5, 9, 12))
		}, nil, []string{"load-during-precharge", "never-closed"}},
		{"main closes without pre-charge", func() *capture.Waveform {
			k := base
			k.r = 0
			return add(k.wave(), "main contactor", two(0.249, 9, 12))
		}, nil, []string{"never-precharged"}},
		{"pre-charge relay, and no capacitor", func() *capture.Waveform {
			k := base
			k.c, k.closeAt = 1e-7, 0
			return add(k.wave(), "precharge relay", two(-1e-4, 9, 12))
		}, nil, []string{"load-not-connected"}},
		{"channels exchanged", func() *capture.Waveform {
			w := base.wave()
			w.Channels[0].Name, w.Channels[1].Name = "pack", "link"
			return w
		}, nil, []string{"channel-swapped"}},
		{"leads exchanged", func() *capture.Waveform {
			w := base.wave()
			for c := range w.Channels {
				for i := range w.Channels[c].V {
					w.Channels[c].V[i] *= -1
				}
			}
			return w
		}, nil, []string{"channel-swapped"}},
		{"milliseconds read as seconds", func() *capture.Waveform {
			w := base.wave()
			w.Channels[0].Axis.Step *= 1000
			w.Channels[0].Axis.Start *= 1000
			return w
		}, sandpiper(), []string{"wrong-time-base"}},
		{"the same without a car", func() *capture.Waveform {
			w := base.wave()
			w.Channels[0].Axis.Step *= 1000
			return w
		}, nil, []string{"wrong-time-base"}},
		{"hardly any capacitance", func() *capture.Waveform {
			k := base
			k.c, k.dt, k.from, k.to, k.closeAt = 30e-6, 2e-6, -0.002, 0.02, 0.018
			return k.wave()
		}, sandpiper(), []string{"load-not-connected"}},
		{"half the capacitance", func() *capture.Waveform { k := base; k.c /= 2; return k.wave() }, sandpiper(), []string{"capacitance-differs", "resistor-differs"}},
		{"link only", func() *capture.Waveform { w := base.wave(); w.Channels = w.Channels[:1]; return w }, nil, []string{"needs-pack-voltage"}},
		{"cut off by the range", func() *capture.Waveform {
			w := base.wave()
			for i, v := range w.Channels[0].V {
				w.Channels[0].V[i] = math.Min(v, 350)
			}
			return w
		}, nil, []string{"clipped"}},
		{"marked as over range", func() *capture.Waveform {
			w := base.wave()
			ch := &w.Channels[0]
			from := -1
			for i, v := range ch.V {
				if v > 350 {
					if from < 0 {
						from = i
					}
					ch.V[i] = math.NaN()
				}
			}
			ch.Clipped = []capture.Span{{From: from, To: len(ch.V), Side: quantity.Above, Limit: 350, Text: "OL"}}
			return w
		}, nil, []string{"clipped"}},
		{"two dozen samples of noise", func() *capture.Waveform {
			k := base
			k.dt = 0.02
			return k.wave()
		}, nil, []string{"too-few-samples"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := analyse(t, c.make(), feature.Request{Kind: feature.KindPrecharge, Car: c.car})
			got := codes(a)
			slices.Sort(got)
			slices.Sort(c.want)
			assert.Equal(t, c.want, got)
		})
	}
}

// With the current, resistor and capacitance are told apart.
func TestPrechargeWithCurrent(t *testing.T) {
	for _, c := range []struct {
		r, c float64
		want []string
	}{{68, 1.02e-3, nil}, {33, 1.02e-3, []string{"resistor-differs"}}, {68, 0.5e-3, []string{"capacitance-differs"}}} {
		tau := c.r * c.c
		axis, v := shape(-0.02, 7*tau, tau/300, func(t float64) float64 { return 398 * -math.Expm1(-math.Max(0, t)/tau) }, 0.3, 0, 1)
		_, p := shape(-0.02, 7*tau, tau/300, func(t float64) float64 { return 398 }, 0.3, 0, 2)
		_, i := shape(-0.02, 7*tau, tau/300, func(t float64) float64 {
			if t < 0 {
				return 0
			}
			return 398 / c.r * math.Exp(-t/tau)
		}, 0.01, 0, 3)
		w := waveform(axis, []string{"link", "pack"}, quantity.Volt, v, p)
		w.Channels = append(w.Channels, capture.Channel{Name: "I", Dim: quantity.Ampere, Axis: axis, V: i})
		a := analyse(t, w, feature.Request{Kind: feature.KindPrecharge, Car: sandpiper()})
		near(t, a, "resistance", c.r, 0.02*c.r)
		near(t, a, "capacitance", c.c, 0.02*c.c)
		assert.Equal(t, c.want, codes(a))
	}
}

func TestAsksWhichChannel(t *testing.T) {
	axis, v := shape(0, 1, 1e-3, func(t float64) float64 { return t }, 0, 0, 1)
	w := waveform(axis, []string{"CH1", "CH2"}, quantity.Volt, v, v)
	_, err := feature.Analyse(w, feature.Request{Kind: feature.KindPrecharge})
	require.ErrorContains(t, err, "no column is known to be dc_link; the columns are CH1 or CH2")
	_, err = feature.Analyse(w, feature.Request{Kind: feature.KindPrecharge, Channels: map[string]string{"dc_link": "CH3"}})
	require.ErrorContains(t, err, `there is no column "CH3"`)
	_, err = feature.Analyse(w, feature.Request{Kind: feature.KindPrecharge, Channels: map[string]string{"link": "CH1"}})
	require.ErrorContains(t, err, `"link" is not a role`)
	_, err = feature.Analyse(w, feature.Request{Kind: "precharging"})
	require.ErrorContains(t, err, "not a kind of capture")
	a, err := feature.Analyse(w, feature.Request{Kind: feature.KindPrecharge, Channels: map[string]string{"dc_link": "ch1", "pack": "CH2"}})
	require.NoError(t, err)
	assert.Equal(t, "dc_link: CH1 (given)", a.Roles[0].String())
}
