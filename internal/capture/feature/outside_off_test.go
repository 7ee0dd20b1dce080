//go:build outside

package feature_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture/feature"
)

// trips is when the trip's contact opens.
const trips = 0.3

// An off is a car being tripped: the shutdown circuit feeds a coil through the
// trip's contact, the coil's current holds the main contactor, the link
// discharges through what is across it.
type off struct {
	name    string
	clamp   float64 // V across the coil as it is switched off
	release string  // what drives the contactor; the coil's current if empty
	aux     string  // what drives the auxiliary contact; the same
	load    float64 // A that the drive draws until the contactor opens
	rd      float64
	want    []string
}

func (k off) net(v, c float64) string {
	var b strings.Builder
	// 12 V, the trip's contact, a coil of 24 Ω and 0.2 H with its suppressor.
	fmt.Fprintf(&b, "emergency-off\nVlv lv 0 12.6\nVt t 0 PWL(0 1 %g 1 %g 0)\nSt lv co t 0 SWM\nLc co ci 0.2 IC=0.525\nVi ci cr 0\nRc cr 0 24\n", trips, trips+1e-6)
	fmt.Fprintf(&b, "Dc 0 dk DM\nVz co dk %g\nRz co 0 100k\n", -k.clamp+0.7)
	b.WriteString("Rl tr 0 10k\nSl lv tr t 0 SWM\nBi iv 0 V=I(Vi)\n")
	release, aux := "iv", "iv"
	if k.release != "" {
		fmt.Fprintf(&b, "Vrel rel 0 %s\n", k.release)
		release, aux = "rel", "rel"
	}
	if k.aux != "" {
		fmt.Fprintf(&b, "Vaux axd 0 %s\n", k.aux)
		aux = "axd"
	}
	// The contactor drops out at 0.1 A.
	fmt.Fprintf(&b, "Vp src 0 %g\nRp src s2 50m\nVm s2 m1 0\nSm m1 dc %s 0 SWC\n", v, release)
	fmt.Fprintf(&b, "V5 five 0 5\nSa five ax %s 0 SWC\nRa ax 0 1k\n", aux)
	fmt.Fprintf(&b, "C1 dc 0 %g IC=%g\nR1 dc 0 %g\n", c, v, k.rd)
	if k.load > 0 { // ceases 3 ms after the contactor has opened
		fmt.Fprintf(&b, "Bl dc 0 I=V(ax) > 2.5 ? %g : 0\n", k.load)
	}
	b.WriteString(".model SWM SW(VT=0.5 VH=0.1 RON=1m ROFF=1G)\n.model SWC SW(VT=0.2 VH=0.1 RON=1m ROFF=1G)\n.model DM D(N=0.05)\n")
	return b.String()
}

// TestEmergencyOffAgainstNgspice: the chain from the trip to the dead link,
// healthy and faulty, its latencies by the simulator's own numbers.
func TestEmergencyOffAgainstNgspice(t *testing.T) {
	needNgspice(t)
	found := tally{}
	for i, v := range []float64{134, 362.4, 398, 780} {
		c := []float64{4.7e-3, 1.02e-3, 2e-3, 0.5e-3}[i]
		rd := 3 / c / math.Log(v/60)
		noise := []float64{0.3, 0.6, 0.2, 1.5}[i]
		amps := []float64{30, 60, 150, 400}[i]
		stays := "DC 1"
		before := fmt.Sprintf("PWL(0 1 %g 1 %g 0)", trips-0.05*float64(i+1), trips-0.05*float64(i+1)+1e-6)
		for _, k := range []off{
			{name: "healthy, diode", clamp: 0.7, rd: rd},
			{name: "healthy, clamp", clamp: 24, rd: rd},
			{name: "healthy, quick discharge", clamp: 12, rd: rd / 2},
			{name: "contactor welded, and its contact shows it", clamp: 12, rd: rd, release: stays, want: []string{"contactor-stuck", "held-up", "not-below-60V"}},
			{name: "welded, auxiliary contact lies", clamp: 12, rd: rd / 50, release: stays, aux: fmt.Sprintf("PWL(0 1 %g 1 %g 0)", trips+0.02, trips+0.02+1e-6),
				want: []string{"contactor-stuck", "held-up", "not-below-60V"}},
			{name: "opened before the trip", clamp: 12, rd: rd, release: before, want: []string{"wrong-order"}},
			{name: "under load", clamp: 12, rd: rd, load: amps, want: []string{"opened-under-load"}},
			{name: "no discharge to speak of", clamp: 12, rd: 40 * rd, want: []string{"not-below-60V"}},
		} {
			t.Run(fmt.Sprintf("%s, %g V", k.name, v), func(t *testing.T) {
				net := k.net(v, c)
				w, truth := spice(t, seedOf(k.name, net), k.name, net, 5e-4, trips+5, column{"dc_link (V)", "v(dc)", noise, 0}, column{"trip (V)", "v(tr)", 0.05, 0},
					column{"coil current (A)", "i(vi)", 0.002, 0}, column{"main contactor (V)", "v(ax)", 0.02, 0}, column{"pack current (A)", "i(vm)", 0.1, 0})
				a, err := feature.Analyse(w, feature.Request{Kind: feature.KindEmergencyOff})
				require.NoError(t, err)
				found.expect(t, a, k.want...)
				if len(k.want) > 0 && k.load == 0 {
					return
				}
				near(t, a, "latency.coil", crosses(truth[0], truth[3], 0.525/2)-trips, 2e-3)
				near(t, a, "latency.main_contactor", crosses(truth[0], truth[4], 2.5)-trips, 2e-3)
				if x := crosses(truth[0], truth[1], 60) - trips; assert.False(t, math.IsNaN(x)) {
					near(t, a, "trip_to_60V", x, 0.02*x)
				}
				if k.load > 0 {
					near(t, a, "current_at_opening", k.load+v/k.rd, 0.03*k.load+1)
				}
			})
		}
	}
	found.thrice(t, "contactor-stuck", "opened-under-load", "wrong-order", "not-below-60V", "held-up")
}

// An armature moves in a coil: x from 0 (open) to 1 (closed). The coil's
// inductance is L0/(1−x/2), its force ½·i²·dL/dx against a spring, all in
// units of x; stops are stiff and damped. Its flux is the state, as a
// capacitor's voltage, so that ngspice integrates the motion by itself.
type armature struct {
	name      string
	v, r, l0  float64
	spring    float64 // J per x, at the open stop; half as much again at the other
	mass      float64 // s²·J per x
	x0        float64 // where it is at first
	held      bool    // it cannot move
	suppress  float64 // V across the coil as it is switched off
	step      float64 // A of the converter
	noise     float64
	want      []string
	mayNoDrop bool // its swell is below what the recorder shows
}

const (
	coilOn  = 0.02
	coilOff = 0.25
)

func (k armature) net() string {
	move := 1.0
	if k.held {
		move = 0
	}
	return fmt.Sprintf("coil\n.param L0=%g R=%g\n", k.l0, k.r) +
		fmt.Sprintf("Vs s 0 PWL(0 0 %g 0 %g %g %g %g %g 0)\nVon on 0 PWL(0 1 %g 1 %g 0)\n", coilOn, coilOn+1e-5, k.v, coilOff, k.v, coilOff+1e-5, coilOff, coilOff+1e-5) +
		// Flux, position, speed; the current follows from flux and position.
		"Bi i 0 V=V(lam)*(1-V(x)/2)/L0\nRi i 0 1\nVis i i2 0\nRis i2 0 1e9\n" +
		fmt.Sprintf("Clam lam 0 1 IC=0\nBlam 0 lam I=V(on) > 0.5 ? V(s)-R*V(i) : (V(i) > 1e-4 ? -%g-R*V(i) : -1000*V(lam))\n", k.suppress) +
		fmt.Sprintf("Cx x 0 1 IC=%g\nBx 0 x I=V(u)*%g\n", k.x0, move) +
		fmt.Sprintf("Cu u 0 1 IC=0\nBu 0 u I=(0.5*V(i)*V(i)*L0*0.5/((1-V(x)/2)*(1-V(x)/2))-%g*(1+0.5*V(x))-(V(x) > 1 ? %g*(V(x)-1)+%g*V(u) : 0)-(V(x) < 0 ? %g*V(x)+%g*V(u) : 0))/%g*%g\n",
			k.spring, 500*k.spring, 0.05*math.Sqrt(500*k.spring*k.mass)*20, 500*k.spring, 0.05*math.Sqrt(500*k.spring*k.mass)*20, k.mass, move)
}

// TestCoilAgainstNgspice: pull-in and drop-out by the armature's motion, which
// the recorder does not see.
func TestCoilAgainstNgspice(t *testing.T) {
	needNgspice(t)
	found := tally{}
	for i, scale := range []float64{1, 0.5, 2} { // quicker and slower coils
		base := armature{v: 12, r: 24, l0: 0.24 * scale, spring: 0.006 * scale, mass: 5e-8 * scale * scale * scale, suppress: 0.7, noise: 0.001, step: []float64{0, 0.001, 0.002}[i]}
		with := func(name string, change func(*armature)) armature {
			k := base
			k.name = name
			change(&k)
			return k
		}
		for _, k := range []armature{
			with("healthy", func(*armature) {}),
			with("healthy, hot supply", func(k *armature) { k.v = 14.4 }),
			with("healthy, heavy armature", func(k *armature) { k.mass *= 3 }),
			with("healthy, clamp", func(k *armature) { k.suppress, k.mayNoDrop = 12, true }),
			with("supply too low", func(k *armature) { k.v, k.want = 6.5, []string{"not-pulled-in"} }),
			with("blocked", func(k *armature) { k.held, k.want = true, []string{"not-pulled-in"} }),
			with("closed already", func(k *armature) { k.held, k.x0, k.want = true, 1, []string{"not-pulled-in"} }),
		} {
			t.Run(fmt.Sprintf("%s, %g", k.name, scale), func(t *testing.T) {
				net := k.net()
				w, truth := spice(t, seedOf(k.name, net), k.name, net, 1e-4, 0.5, column{"coil (A)", "v(i)", k.noise, k.step}, column{"position", "v(x)", 0, 0})
				w.Channels = w.Channels[:1]
				a, err := feature.Analyse(w, feature.Request{Kind: feature.KindCoil})
				require.NoError(t, err)
				found.expect(t, a, k.want...)
				if len(k.want) > 0 {
					return
				}
				arrived := crosses(truth[0], truth[2], 0.99) - coilOn
				near(t, a, "pull_in_time", arrived, 0.1*arrived+5e-4)
				at := int(math.Round((coilOff - 1e-3) / 1e-4))
				near(t, a, "hold_current", truth[1][at], 0.01)
				if f, ok := a.Feature("drop_out_time"); ok {
					after := make([]float64, len(truth[2]))
					for n, x := range truth[2] {
						after[n] = x
						if truth[0][n] < coilOff {
							after[n] = 1
						}
					}
					left := crosses(truth[0], after, 0.01) - coilOff
					assert.InDelta(t, left, f.Value, 0.15*left+1e-3)
				} else {
					assert.True(t, k.mayNoDrop, describe(a))
				}
			})
		}
	}
	found.thrice(t, "not-pulled-in")
}
