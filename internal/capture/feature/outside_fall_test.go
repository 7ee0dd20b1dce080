//go:build outside

package feature_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/quantity"
)

// tally counts the codes that were found over many circuits.
type tally map[string]int

// expect wants exactly these codes.
func (n tally) expect(t *testing.T, a *feature.Analysis, want ...string) {
	t.Helper()
	got := codes(a)
	for _, c := range got {
		n[c]++
	}
	slices.Sort(got)
	slices.Sort(want)
	assert.Equal(t, slices.Compact(want), got, describe(a))
}

// thrice wants each code at least three times.
func (n tally) thrice(t *testing.T, codes ...string) {
	for _, c := range codes {
		assert.GreaterOrEqual(t, n[c], 3, c)
	}
}

// crosses gives the time at which a vector of the simulator first passes a
// level, without noise and steps.
func crosses(times, v []float64, level float64) float64 {
	for i := 1; i < len(v); i++ {
		if (v[i-1]-level)*(v[i]-level) <= 0 && v[i-1] != v[i] {
			return times[i-1] + (level-v[i-1])/(v[i]-v[i-1])*(times[i]-times[i-1])
		}
	}
	return math.NaN()
}

// A fallen is a link whose contactor opens at 0.2 s, and how it was recorded.
type fallen struct {
	name   string
	more   string // further elements at dc and bat
	rd     float64
	end    float64 // s
	delay  float64 // s from the opening to the discharge
	per    float64 // samples per second
	noise  float64
	step   float64
	car    bool
	main   bool // the main contactor's coil voltage is recorded, too
	change func(*capture.Waveform)
	want   []string
	curve  bool // one slope: to be compared with SciPy
}

const opens = 0.2

// net gives the circuit: a pack behind 50 mΩ, a main contactor that opens, a
// relay that puts the discharge resistor across the link.
func (k fallen) net(v, c float64) string {
	return fmt.Sprintf("discharge\nVp src 0 %g\nRp src bat 50m\nVm m 0 PWL(0 1 %g 1 %g 0)\nS1 bat dc m 0 SWM\nC1 dc 0 %g IC=%g\n", v, opens, opens+1e-6, c, v) +
		fmt.Sprintf("Vd d 0 PWL(0 0 %g 0 %g 1)\nS2 dc rd d 0 SWM\nR1 rd 0 %g\nR9 dc 0 100MEG\n", opens+k.delay, opens+k.delay+1e-6, k.rd) +
		k.more + ".model SWM SW(VT=0.5 VH=0.1 RON=10m ROFF=1G)\n"
}

// TestDischargeAgainstNgspice: circuits that ngspice simulates, healthy and
// faulty; the time to 60 V by the simulator's own numbers, the time constant
// by SciPy.
func TestDischargeAgainstNgspice(t *testing.T) {
	needNgspice(t)
	found := tally{}
	var fits []scipyCase
	for i, v := range []float64{134, 362.4, 398, 780} {
		c := []float64{4.7e-3, 1.02e-3, 2e-3, 0.5e-3}[i]
		rec := []struct{ per, noise, step float64 }{{500, 0.3, 0}, {1000, 0.6, 500.0 / 256}, {200, 0.2, 0.1}, {2000, 1.5, 1000.0 / 4096}}[i]
		// To 60 V in about 3 s.
		good := 3 / c / math.Log(v/60)
		tau := good * c
		zeroed := func(w *capture.Waveform) {
			for n := range w.Channels[0].V {
				w.Channels[0].V[n] = -w.Channels[0].V[n]
			}
		}
		late := 5.8 / c / math.Log(v/60)
		for _, k := range []fallen{
			{name: "healthy", rd: good, end: opens + 4.5*tau, curve: true},
			{name: "healthy, quick", rd: good / 3, end: opens + 2*tau, curve: true},
			{name: "healthy, to the end", rd: good, end: opens + 7*tau, curve: true},
			{name: "healthy, with a bleed", rd: good, end: opens + 5*tau, more: fmt.Sprintf("R2 dc 0 %g\n", 12*good), curve: true},
			{name: "healthy, a relay of 20 ms", rd: good, delay: 0.02, end: opens + 4*tau, curve: true},
			{name: "healthy, lets go below 60 V", rd: good / 2, end: opens + 5*tau,
				more: fmt.Sprintf("R2 dc 0 %g\nB1 dc 0 I=V(dc) < 40 ? -V(rd)/%g : 0\n", 8*good, good/2)},
			{name: "too late by its resistor", rd: late, end: opens + 7.5, want: []string{"discharge-late"}, curve: true},
			{name: "relay late", rd: good / 2, delay: 0.7, end: opens + 6, main: true, want: []string{"discharge-late"}},
			{name: "record ends early", rd: good, end: opens + 0.55*tau*math.Log(v/60), want: []string{"not-below-60V"}},
			{name: "fed by a pre-charge relay", rd: good, end: opens + 9*tau, more: fmt.Sprintf("R3 bat dc %g\n", good*3), want: heldUp(v / 4)},
			{name: "fed a little", rd: good, end: opens + 9*tau, more: fmt.Sprintf("R3 bat dc %g\n", good*9), want: heldUp(v / 10)},
			{name: "welded", rd: good, end: opens + 5, more: "R3 bat dc 5m\n", want: []string{"held-up", "not-below-60V"}},
			{name: "a converter", rd: 4 * good, end: opens + 6, more: fmt.Sprintf("B2 dc 0 I=V(dc) > 15 ? %g/V(dc) : 0\n", 0.25*c*v*v), want: []string{"not-exponential"}},
			{name: "few samples", rd: good, end: opens + 5*tau, per: 4 / tau, want: []string{"too-few-samples"}},
			{name: "noise", rd: good, end: opens + 5*tau, noise: 0.2 * v, want: []string{"too-noisy"}},
			{name: "leads exchanged", rd: good, end: opens + 5*tau, change: zeroed, want: []string{"channel-swapped"}},
			{name: "beyond the range", rd: good, end: opens + 5*tau, noise: 0.004 * v, step: 1e-3 * v, want: []string{"clipped"}, change: func(w *capture.Waveform) {
				for n, y := range w.Channels[0].V {
					w.Channels[0].V[n] = math.Min(y, 0.8*v)
				}
			}},
			{name: "as drawn", rd: good, end: opens + 5*tau, car: true, curve: true},
			{name: "half the capacitance or the resistor", rd: good / 2, end: opens + 4*tau, car: true, want: []string{"resistor-differs", "capacitance-differs"}, curve: true},
			{name: "milliseconds as seconds", rd: good, end: opens + 5*tau, car: true, want: []string{"wrong-time-base", "discharge-late"}, change: func(w *capture.Waveform) {
				w.Channels[0].Axis.Start, w.Channels[0].Axis.Step = 1000*w.Channels[0].Axis.Start, 1000*w.Channels[0].Axis.Step
			}},
		} {
			t.Run(fmt.Sprintf("%s, %g V", k.name, v), func(t *testing.T) {
				if k.per == 0 {
					k.per = rec.per
				}
				if k.noise == 0 {
					k.noise = rec.noise
				}
				if k.step == 0 {
					k.step = rec.step
				}
				columns := []column{{"u_dc (V)", "v(dc)", k.noise, k.step}}
				if k.main {
					columns = append(columns, column{"main contactor (V)", "v(m)", 0.01, 0})
				}
				net := k.net(v, c)
				w, truth := spice(t, seedOf(k.name, net), k.name, net, 1/k.per, k.end, columns...)
				if k.change != nil {
					k.change(w)
				}
				r := feature.Request{Kind: feature.KindDischarge}
				if k.car {
					r.Car = &feature.Car{Capacitance: tolerance(c, 0.1), DischargeResistance: tolerance(good, 0.05), DischargeTau: tolerance(tau, 0.155),
						MaxVoltage: tolerance(v*1.1, 0), DischargeWithin: tolerance(8, 0)}
				}
				a, err := feature.Analyse(w, r)
				require.NoError(t, err)
				found.expect(t, a, k.want...)
				if k.change != nil || k.noise > rec.noise || slices.Contains(k.want, "too-few-samples") {
					return
				}
				if x := crosses(truth[0], truth[1], 60) - opens; !math.IsNaN(x) {
					near(t, a, "time_to_60V", x+onset(a), 0.02*x+1/k.per)
					if k.car {
						near(t, a, "time_to_60V_full_charge", x+onset(a)+k.rd*c*math.Log(1.1), 0.02*x+1/k.per)
					}
				}
				if k.curve {
					fits = append(fits, fallScipy(k.name, k.rd*c, w, a))
				}
			})
		}
	}
	found.thrice(t, "not-below-60V", "held-up", "discharge-late", "not-exponential", "too-few-samples", "too-noisy", "clipped", "channel-swapped",
		"wrong-time-base", "resistor-differs", "capacitance-differs")
	compareScipy(t, 24, fits)
}

// heldUp is what a link that levels off at y must give.
func heldUp(y float64) []string {
	if y > 60 {
		return []string{"held-up", "not-below-60V"}
	}
	return []string{"held-up"}
}

// onset is by how much the moment of opening, taken from the link's fall, lies
// before the true one.
func onset(a *feature.Analysis) float64 {
	f, _ := a.Feature("opening")
	return opens - f.Value
}

// fallScipy gives the very samples that were fitted here.
func fallScipy(name string, guess float64, w *capture.Waveform, a *feature.Analysis) scipyCase {
	tau, _ := a.Feature("tau")
	end, _ := a.Feature("end_voltage")
	curve := a.Picture.Curves[0]
	out := scipyCase{Name: name, Tau: tau.Value, TauU: tau.U, End: end.Value, EU: end.U, Guess: guess}
	ch := w.Channels[0]
	for i, y := range ch.V {
		if x := ch.Axis.At(i); x >= curve.From-1e-9*tau.Value && x <= curve.To+1e-9*tau.Value {
			out.T, out.Y = append(out.T, x-curve.From), append(out.Y, y)
		}
	}
	return out
}

// seedOf gives each circuit a noise of its own.
func seedOf(name, net string) [2]uint64 { return [2]uint64{uint64(len(name)), uint64(len(net))} }

// TestSharingAgainstNgspice: two packs on one load, through their own
// resistances.
func TestSharingAgainstNgspice(t *testing.T) {
	needNgspice(t)
	found := tally{}
	for i, load := range []float64{60, 300, 470} {
		rl, rr := []float64{0.05, 0.0552, 0.12}[i], []float64{0.09, 0.1095, 0.13}[i]
		car := &feature.Car{Packs: []string{"left", "right"}, Shares: map[string]quantity.Range{
			"left": tolerance(rr/(rl+rr), 0.12), "right": tolerance(rl/(rl+rr), 0.12)}}
		noise := []float64{0.2, 1.5, 0.5}[i]
		for _, k := range []struct {
			name        string
			left, right float64 // Ω added
			fault       string
			change      func(*capture.Waveform)
			want        []string
		}{
			{name: "healthy"},
			{name: "healthy, within tolerance", left: 0.1 * rl},
			{name: "a bad joint on the left", left: 1.5 * rl, want: []string{"share-differs"}},
			{name: "a bad joint on the right", right: 2 * rr, want: []string{"share-differs"}},
			{name: "right missing", right: 1e5, want: []string{"one-pack-missing"}},
			{name: "left missing", left: 1e5, want: []string{"one-pack-missing"}},
			{name: "right drops out half way", fault: "R", want: []string{"one-pack-missing"}},
		} {
			t.Run(fmt.Sprintf("%s, %g A", k.name, load), func(t *testing.T) {
				open := ""
				if k.fault != "" {
					open = "1 4 1 4.00001 0"
				} else {
					open = "1"
				}
				net := fmt.Sprintf("sharing\nVl a 0 390\nVil a a1 0\nRl a1 j %g\nVr b 0 390\nVir b b1 0\nRr b1 b2 %g\n", rl+k.left, rr+k.right) +
					fmt.Sprintf("Vs s 0 PWL(0 %s)\nS1 b2 j s 0 SWM\nIload j 0 PWL(0 %g 1 %g 3 %g 8 %g 9 %g)\nC1 j 0 1m IC=389\n.model SWM SW(VT=0.5 VH=0.1 RON=1u ROFF=1MEG)\n", open, load*0.05, load*0.05, load, load, load*0.1)
				w, truth := spice(t, seedOf(k.name, net), k.name, net, 0.01, 10, column{"I left (A)", "i(vil)", noise, 0}, column{"I right (A)", "i(vir)", noise, 0})
				a, err := feature.Analyse(w, feature.Request{Kind: feature.KindSharing, Car: car})
				require.NoError(t, err)
				seen := codes(a)
				for _, c := range k.want {
					assert.Contains(t, seen, c, describe(a))
				}
				for _, c := range seen {
					found[c]++
					assert.Contains(t, append(k.want, also(k.want)...), c, describe(a))
				}
				if len(k.want) == 0 {
					l, r := 0.0, 0.0
					for n, x := range truth[0] {
						if x > 3.2 && x < 7.8 {
							l, r = l+truth[1][n], r+truth[2][n]
						}
					}
					near(t, a, "share.left", l/(l+r), 0.01)
				}
			})
		}
	}
	found.thrice(t, "share-differs", "one-pack-missing")
}

// also gives what may be said besides: where one pack is missing, the other's
// share is another than drawn, too.
func also(want []string) []string {
	if slices.Contains(want, "one-pack-missing") {
		return []string{"share-differs"}
	}
	return nil
}
