//go:build outside

package feature_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/quantity"
)

// A case is one circuit that ngspice simulates and a recorder records.
type outsideCase struct {
	name   string
	net    string  // the circuit between bat, pre and dc; time 0.05·τ after the start is the command
	vp     float64 // V
	tau    float64 // s, of the circuit as drawn; 0: no fit to compare
	end    float64 // s recorded
	per    float64 // samples in a time constant
	noise  float64 // V
	bits   int     // of 500 V (1000 V above)
	change func(*capture.Waveform)
	car    *feature.Car
	want   []string
}

// netlist writes the whole file: the pack behind 30 mΩ, a pre-charge relay
// that closes at 0.2 τ, a main contactor that closes at closeAt (0: never).
func prechargeNet(vp, r, c, bleed, start, command, closeAt float64, more string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "pre-charge\nVp src 0 %g\nRp src bat 30m\n", vp)
	fmt.Fprintf(&b, "Vk k 0 PWL(0 0 %g 0 %g 1)\nS1 bat n1 k 0 SWM\nR1 n1 dc %g\n", command, command+1e-6, r)
	if closeAt > 0 {
		fmt.Fprintf(&b, "Vm m 0 PWL(0 0 %g 0 %g 1)\nS2 bat dc m 0 SWM\n", closeAt, closeAt+1e-6)
	}
	fmt.Fprintf(&b, "C1 dc 0 %g IC=%g\n", c, start)
	if bleed > 0 {
		fmt.Fprintf(&b, "R2 dc 0 %g\n", bleed)
	}
	b.WriteString("R9 dc 0 100MEG\n" + more + ".model SWM SW(VT=0.5 VH=0.1 RON=10m ROFF=1G)\n")
	return b.String()
}

// A column is a vector of ngspice as a recorder writes it.
type column struct {
	title  string // "link (V)"
	vector string // "v(dc)"
	noise  float64
	step   float64 // of the converter, 0: none
}

// spice runs a circuit to end in steps of dt and gives what a recorder wrote
// of it, and the vectors as they were, times first.
func spice(t *testing.T, seed [2]uint64, name, net string, dt, end float64, columns ...column) (*capture.Waveform, [][]float64) {
	t.Helper()
	truth := vectors(t, net, dt, end, columns...)
	return recorded(t, seed, name, truth, columns...), truth
}

// vectors runs a circuit and gives its vectors, times first.
func vectors(t *testing.T, net string, dt, end float64, columns ...column) [][]float64 {
	t.Helper()
	dir := t.TempDir()
	all := ""
	for _, c := range columns {
		all += " " + c.vector
	}
	net += fmt.Sprintf(".tran %g %g 0 %g UIC\n.control\nset wr_vecnames\nset wr_singlescale\nrun\nlinearize %s\nwrdata out %s\nquit\n.endc\n.end\n", dt, end, dt, all, all)
	file := filepath.Join(dir, "net.cir")
	require.NoError(t, os.WriteFile(file, []byte(net), 0o600))
	run := exec.Command("ngspice", "-b", file)
	run.Dir = dir // its names may not hold a comma
	text, err := run.CombinedOutput()
	data, rerr := os.ReadFile(filepath.Join(dir, "out"))
	require.NoError(t, rerr, "%v\n%s\n%s", err, text, net)
	truth := make([][]float64, len(columns)+1)
	for i, line := range strings.Split(strings.TrimSpace(string(data)), "\n") {
		f := strings.Fields(line)
		if i == 0 || len(f) <= len(columns) {
			continue
		}
		for n := range truth {
			x, err := strconv.ParseFloat(f[n], 64)
			require.NoError(t, err)
			truth[n] = append(truth[n], x)
		}
	}
	return truth
}

// recorded gives vectors as a logger writes them, through the reader. The seed
// is that of the noise.
func recorded(t *testing.T, seed [2]uint64, name string, truth [][]float64, columns ...column) *capture.Waveform {
	t.Helper()
	r := rand.New(rand.NewPCG(seed[0], seed[1]))
	csv := bytes.NewBufferString("Time (s)")
	for _, c := range columns {
		csv.WriteString("," + c.title)
	}
	for i, at := range truth[0] {
		fmt.Fprintf(csv, "\n%.9g", at)
		for n, c := range columns {
			x := truth[n+1][i] + c.noise*r.NormFloat64()
			if c.step > 0 {
				x = c.step * math.Round(x/c.step)
			}
			fmt.Fprintf(csv, ",%.6g", x)
		}
	}
	csv.WriteByte('\n')
	w, err := capture.Read(csv, capture.Options{Name: name})
	require.NoError(t, err)
	require.Len(t, w.Channels, len(columns))
	return w
}

// simulate gives link and pack at even times, as recorded with so many seeds
// of noise.
func simulate(t *testing.T, k outsideCase, seeds int) []*capture.Waveform {
	t.Helper()
	full := 500.0
	if k.vp > 450 {
		full = 1000
	}
	step := 0.0
	if k.bits > 0 {
		step = full / float64(int(1)<<k.bits)
	}
	columns := []column{{"link (V)", "v(dc)", k.noise, step}, {"pack (V)", "v(bat)", k.noise, step}}
	truth := vectors(t, k.net, k.tau/k.per, k.end, columns...)
	var out []*capture.Waveform
	for n := range uint64(seeds) {
		w := recorded(t, [2]uint64{uint64(len(k.name)) + uint64(k.per) + 1000*n, uint64(k.vp)}, k.name, truth, columns...)
		if k.change != nil {
			k.change(w)
		}
		out = append(out, w)
	}
	return out
}

// healthyCases spread over resistor, capacitance, bleed, noise, bits, sampling
// and closing.
func healthyCases() []outsideCase {
	var out []outsideCase
	records := []struct {
		per, noise float64
		bits       int
	}{{500, 0, 0}, {40, 0.8, 0}, {300, 0.5, 8}, {150, 0, 8}, {800, 1.5, 12}, {25, 0.3, 10}}
	n := 0
	for _, v := range []float64{134, 362.4, 398, 800} {
		for _, rc := range [][2]float64{{33, 0.5e-3}, {68, 1.02e-3}, {100, 4.7e-3}, {470, 0.47e-3}} {
			for _, closeAt := range []float64{0, 3.2, 4.4} {
				r, c := rc[0], rc[1]
				tau, bleed := r*c, 0.0
				if n%2 == 0 {
					bleed = r * 330
				}
				rec := records[n%len(records)]
				n++
				at := closeAt
				if at > 0 {
					at = (closeAt + 0.5) * tau
				}
				out = append(out, outsideCase{
					name: fmt.Sprintf("healthy %d: %g V %g Ω %g F bleed %g closing %g τ, %g samples, noise %g, %d bits", n, v, r, c, bleed, closeAt, rec.per, rec.noise, rec.bits),
					net:  prechargeNet(v, r, c, bleed, 0, 0.5*tau, at, ""), vp: v, tau: tau, end: 7.5 * tau, per: rec.per, noise: rec.noise, bits: rec.bits,
				})
			}
		}
	}
	return out
}

// faultyCases has each code of pre-charge at least three times.
func faultyCases() []outsideCase {
	var out []outsideCase
	tolerant := func(r, c float64) *feature.Car {
		one := quantity.Range{Lo: 0.95, Nominal: 0.95, Hi: 0.95}
		return &feature.Car{Tau: quantity.Range{Lo: 0.855 * r * c, Nominal: r * c, Hi: 1.155 * r * c}, Resistance: tolerance(r, 0.05), Capacitance: tolerance(c, 0.1), Target: one,
			Reachable: quantity.Range{Lo: 0.996, Nominal: 0.997, Hi: 0.998}}
	}
	for i, v := range []float64{134, 362.4, 398} {
		r, c := []float64{100, 68, 47}[i], []float64{4.7e-3, 1.02e-3, 2e-3}[i]
		tau := r * c
		rec := []struct {
			noise float64
			bits  int
		}{{0.2, 0}, {0.5, 10}, {0.8, 12}}[i]
		add := func(name string, net string, end, per float64, want ...string) *outsideCase {
			out = append(out, outsideCase{name: fmt.Sprintf("%s, %g V", name, v), net: net, vp: v, tau: tau, end: end, per: per, noise: rec.noise, bits: rec.bits, want: want})
			return &out[len(out)-1]
		}
		command := 0.5 * tau
		plain := func(closeAt float64, more string) string { return prechargeNet(v, r, c, 0, 0, command, closeAt, more) }
		add("a discharge resistor stuck at 96 %", prechargeNet(v, r, c, 24*r, 0, command, 8*tau, ""), 9*tau, 200, "load-during-precharge")
		add("a resistive load", prechargeNet(v, r, c, 5*r, 0, command, 0, ""), 9*tau, 200, "load-during-precharge")
		power := 0.15 * v * v / r
		add("a converter with a threshold", plain(0, fmt.Sprintf("B1 dc 0 I=V(dc) > %g ? %g/V(dc) : 0\n", 0.45*v, power)), 9*tau, 300, "knee", "load-during-precharge")
		add("closed early", plain((1.6+0.3*float64(i)+0.5)*tau, ""), 5*tau, 200, "closed-early")
		add("live before", prechargeNet(v, r, c, 0, 0.6*v, command, 0, ""), 8*tau, 200, "already-live")
		k := add("no pre-charge", strings.Replace(plain(3*tau, ""), "R1 n1 dc", "R1 n1 nowhere", 1), 6*tau, 200, "never-precharged", "load-not-connected")
		k.name += " (no commands recorded)"
		add("broken off", strings.Replace(prechargeNet(v, r, c, 100*r, 0, command, 0, ""), "Vk k 0 PWL(0 0", fmt.Sprintf("Vk k 0 PWL(%g 1 %g 0 0 0", 5*tau, 5*tau+1e-6), 1), 9*tau, 200, "never-closed")
		out[len(out)-1].net = strings.Replace(out[len(out)-1].net, fmt.Sprintf("PWL(%g 1 %g 0 0 0 %g 0 %g 1)", 5*tau, 5*tau+1e-6, command, command+1e-6),
			fmt.Sprintf("PWL(0 0 %g 0 %g 1 %g 1 %g 0)", command, command+1e-6, 5*tau, 5*tau+1e-6), 1)
		add("a second branch", plain(0, fmt.Sprintf("R5 dc slow %g\nC5 slow 0 %g IC=0\n", 3*r, 0.4*c)), 12*tau, 200, "not-exponential")
		add("few samples", plain(0, ""), 9*tau, 4+float64(i), "too-few-samples")
		k = add("noise", plain(0, ""), 8*tau, 40, "too-noisy")
		k.noise = 0.25 * v
		k = add("cut off by the range", plain(0, ""), 8*tau, 200, "clipped")
		k.change = func(w *capture.Waveform) {
			for n, y := range w.Channels[0].V {
				w.Channels[0].V[n] = math.Min(y, 0.9*v)
			}
		}
		k = add("channels exchanged", plain(0, ""), 8*tau, 200, "channel-swapped")
		k.change = func(w *capture.Waveform) { w.Channels[0].Name, w.Channels[1].Name = "pack", "link" }
		k = add("time base", plain(0, ""), 8*tau, 200, "wrong-time-base")
		k.car = tolerant(r, c)
		k.change = func(w *capture.Waveform) {
			f := []float64{1000, 1e-3, 100}[i]
			a := w.Channels[0].Axis
			a.Start, a.Step = a.Start*f, a.Step*f
			for n := range a.Times {
				a.Times[n] *= f
			}
		}
		k = add("the link alone", plain(0, ""), 8*tau, 200, "needs-pack-voltage")
		k.change = func(w *capture.Waveform) { w.Channels = w.Channels[:1] }
		k = add("half the resistor", prechargeNet(v, 0.5*r, c, 0, 0, command, 0, ""), 8*tau, 200, "resistor-differs", "capacitance-differs")
		k.car = tolerant(r, c)
		k = add("half the capacitance", prechargeNet(v, r, 0.5*c, 0, 0, command, 0, ""), 8*tau, 200, "resistor-differs", "capacitance-differs")
		k.car = tolerant(r, c)
		k = add("hardly a capacitor", prechargeNet(v, r, c/45, 0, 0, command, 0, ""), 2*tau, 3000, "load-not-connected")
		k.car = tolerant(r, c)
		k = add("main contactor bounces", plain(2*tau, ""), 5*tau, 2000, "closed-early", "contactor-bounce")
		k.net = strings.Replace(k.net, fmt.Sprintf("PWL(0 0 %g 0 %g 1)\nS2", 2*tau, 2*tau+1e-6),
			fmt.Sprintf("PWL(0 0 %g 0 %g 1 %g 1 %g 0 %g 0 %g 1)\nS2", 2*tau, 2*tau+1e-6, 2*tau+30e-6, 2*tau+31e-6, 2*tau+6e-3, 2*tau+6.001e-3), 1)
		k.net = strings.Replace(k.net, "RON=10m", "RON=100m", 1)
	}
	return out
}

// seeds is the number of recordings, with other noise, of each circuit.
const seeds = 4

func TestAgainstNgspice(t *testing.T) {
	needNgspice(t)
	seen := map[string]int{}
	healthy := healthyCases()
	all := append(healthy, faultyCases()...)
	require.GreaterOrEqual(t, len(healthy), 40)
	var fits []scipyCase
	for _, k := range all {
		t.Run(k.name, func(t *testing.T) {
			for _, w := range simulate(t, k, seeds) {
				a, err := feature.Analyse(w, feature.Request{Kind: feature.KindPrecharge, Car: k.car})
				require.NoError(t, err)
				got := codes(a)
				for _, c := range got {
					seen[c]++
				}
				slices.Sort(got)
				slices.Sort(k.want)
				assert.Equal(t, k.want, got, describe(a))
				if len(k.want) == 0 {
					fits = append(fits, asScipy(k, w, a))
				}
			}
		})
	}
	for _, c := range []string{
		"load-during-precharge", "closed-early", "already-live", "never-precharged", "never-closed", "contactor-bounce", "resistor-differs",
		"capacitance-differs", "not-exponential", "too-few-samples", "clipped", "too-noisy", "channel-swapped", "wrong-time-base",
		"needs-pack-voltage", "load-not-connected", "knee",
	} {
		assert.GreaterOrEqual(t, seen[c], 3*seeds, c)
	}
	compareScipy(t, 40*seeds, fits)
}

func needNgspice(t *testing.T) {
	if _, err := exec.LookPath("ngspice"); err != nil {
		t.Fatal("ngspice is not installed: apt-get install -y --no-install-recommends ngspice")
	}
}

// A scipyCase is what SciPy fits, and what was found here.
type scipyCase struct {
	Name     string
	T, Y     []float64
	Tau, End float64
	TauU, EU float64
	Guess    float64
}

// asScipy gives the very samples that were fitted here: a few more or less
// move the estimate by a part of its standard error.
func asScipy(k outsideCase, w *capture.Waveform, a *feature.Analysis) scipyCase {
	tau, _ := a.Feature("tau")
	end, _ := a.Feature("end_voltage")
	curve := a.Picture.Curves[0]
	out := scipyCase{Name: k.name, Tau: tau.Value, TauU: tau.U, End: end.Value, EU: end.U, Guess: k.tau}
	ch := w.Channels[0]
	for i, y := range ch.V {
		if x := ch.Axis.At(i); x >= curve.From-1e-9*tau.Value && x <= curve.To+1e-9*tau.Value {
			out.T, out.Y = append(out.T, x-curve.From), append(out.Y, y)
		}
	}
	return out
}

const scipyProgram = `
import json, sys, numpy as np
from scipy.optimize import curve_fit
out = []
for c in json.load(open(sys.argv[1])):
    t, y = np.array(c["T"]), np.array(c["Y"])
    f = lambda t, e, g, tau: e - g*np.exp(-t/tau)
    p, cov = curve_fit(f, t, y, p0=(y[-1], y[-1]-y[0], c["Guess"]), maxfev=20000)
    out.append({"end": p[0], "tau": p[2], "end_se": float(np.sqrt(cov[0][0])), "tau_se": float(np.sqrt(cov[2][2]))})
json.dump(out, sys.stdout)
`

// compareScipy asks SciPy for the same time constants.
func compareScipy(t *testing.T, least int, cases []scipyCase) {
	require.GreaterOrEqual(t, len(cases), least)
	python := ""
	for _, p := range []string{"python3", "/usr/bin/python3"} {
		if exec.Command(p, "-c", "import scipy.optimize").Run() == nil {
			python = p
		}
	}
	require.NotEmpty(t, python, "no Python with SciPy: apt-get install -y --no-install-recommends python3-scipy")
	dir := t.TempDir()
	data, err := json.Marshal(cases)
	require.NoError(t, err)
	in, program := filepath.Join(dir, "in.json"), filepath.Join(dir, "fit.py")
	require.NoError(t, os.WriteFile(in, data, 0o600))
	require.NoError(t, os.WriteFile(program, []byte(scipyProgram), 0o600))
	answer, err := exec.Command(python, program, in).Output()
	require.NoError(t, err)
	var got []struct {
		End   float64 `json:"end"`
		Tau   float64 `json:"tau"`
		TauSE float64 `json:"tau_se"`
		EndSE float64 `json:"end_se"`
	}
	require.NoError(t, json.Unmarshal(answer, &got))
	require.Len(t, got, len(cases))
	var worst []float64
	for i, c := range cases {
		d := math.Abs(got[i].Tau/c.Tau - 1)
		worst = append(worst, d)
		assert.InDelta(t, got[i].Tau, c.Tau, 0.02*got[i].TauSE+1e-6*c.Tau, c.Name)
		if c.EU > 0 { // the level is given
			assert.InDelta(t, got[i].End, c.End, 0.02*got[i].EndSE+1e-6*got[i].End, c.Name)
		}
	}
	t.Logf("%d circuits, largest difference of τ from SciPy %.2g", len(cases), slices.Max(worst))
}
