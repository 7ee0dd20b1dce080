package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/checklists"
	"hvproof/internal/carfolder"
	"hvproof/internal/hv"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

const besses = "../../testdata/cars/"

// link gives the DC link of Old Bess while it is charged to 134 V through
// 100 Ω, at every millisecond: 4.7 mF, and a converter that takes watts from
// 60 V on; by Euler steps of 0.1 ms, with nothing of package hv.
func link(watts, until float64) []float64 {
	var out []float64
	v := 0.0
	for range int(until*1e3) + 1 {
		out = append(out, v)
		for range 10 {
			load := 0.0
			if v >= 60 {
				load = watts / v
			}
			v += 1e-4 * ((134-v)/100 - load) / 4.7e-3
		}
	}
	return out
}

// bessCaptures writes what the scope recorded of Old Bess, in steps of eight
// bits of 160 V, of 50 V for the 12 V side, and with some noise.
func bessCaptures(t *testing.T, dir string) {
	const link8, low8 = 160.0 / 256, 50.0 / 256
	require.NoError(t, os.MkdirAll(dir, 0o755))
	seed := uint64(1)
	write := func(name, heading string, steps []float64, from, to, dt float64, at func(t float64) []float64) {
		var b bytes.Buffer
		fmt.Fprintf(&b, "Time (s),%s\n", heading)
		for i := range int(math.Round((to-from)/dt)) + 1 {
			x := from + float64(i)*dt
			fmt.Fprintf(&b, "%.4f", x)
			for k, v := range at(x) {
				seed = seed*6364136223846793005 + 1442695040888963407 // Knuth's MMIX
				noise := 0.6 * (float64(seed>>11)/(1<<53) - 0.5)
				fmt.Fprintf(&b, ",%.3f", steps[k]*math.Round((v+noise)/steps[k])+0)
			}
			b.WriteByte('\n')
		}
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o644))
	}
	level := func(end, volts, t float64) float64 {
		if t < end {
			return volts
		}
		return 0
	}
	fall := func(from, delay, t float64) float64 { return from * math.Exp(-max(0, t-delay)/47.9) }
	const tau, reach = 0.4653465, 10000.0 / 10100 // 100 Ω and 10 kΩ in parallel, times 4.7 mF
	rise := func(t float64) float64 { return 134 * reach * -math.Expm1(-max(0, t)/tau) }
	both, twice := "dc_link (V),pack (V)", []float64{link8, link8}

	left := link(25, 5)
	write("precharge_load.csv", both, twice, -0.2, 5, 2e-3, func(t float64) []float64 {
		return []float64{left[int(math.Round(max(0, t)*1e3))], 134}
	})
	write("precharge.csv", both, twice, -0.2, 4, 2e-3, func(t float64) []float64 { return []float64{rise(t), 134} })
	write("closing.csv", both, twice, -0.2, 3, 1e-3, func(t float64) []float64 { return []float64{max(rise(t), 134-level(2, 134, t)), 134} })
	write("discharge.csv", "dc_link (V)", twice, -30, 200, 0.1, func(t float64) []float64 { return []float64{fall(134, 0.031, t)} })
	write("low_energy.csv", "dc_link (V)", []float64{low8}, -2, 240, 0.1, func(t float64) []float64 { return []float64{fall(47.9, 0.031, t)} })
	for contactor, release := range map[string]float64{"plus": 28.4e-3, "minus": 29.1e-3} {
		write("release_"+contactor+".csv", "trip (V),coil (V),main_contactor (V)", []float64{low8, low8, low8}, -0.02, 0.15, 1e-4, func(t float64) []float64 {
			return []float64{level(0, 12.1, t), level(1e-3, 10.7, t), level(release, 11.9, t)}
		})
	}
	for i, device := range []string{"key", "dash_button", "inertia"} {
		delay := 0.030 + 0.002*float64(i)
		write("trip_"+device+".csv", "trip (V),coil (V),dc_link (V)", []float64{low8, low8, link8}, -2, 90, 0.01, func(t float64) []float64 {
			return []float64{level(0, 12.1, t), level(0.01, 12, t), fall(134, delay, t)}
		})
		write("charging_"+device+".csv", "trip (V),dc_link (V),charging current (A)", []float64{low8, link8, 0.1}, -2, 90, 0.01, func(t float64) []float64 {
			return []float64{level(0, 12.1, t), fall(134, delay, t), level(0.02, 3.2, t)}
		})
	}
}

// TestOldBess takes the second practice car through its story. Numbers are those
// of the project's table, computed by script from the car's data.
func TestOldBess(t *testing.T) {
	dir := t.TempDir()
	config, root := filepath.Join(dir, "config"), filepath.Join(dir, "bess")
	now := func(name string) string {
		return map[string]string{"HVPROOF_CONFIG": config, "HVPROOF_NOW": demoClock}[name]
	}
	var said bytes.Buffer
	a := &app{dir: root, out: io.Discard, err: &said, env: now, now: time.Now, started: time.Now()}
	require.NoError(t, carfolder.Init(root, "Old Bess"))
	drawn, err := os.ReadFile(besses + "old_bess.yaml")
	require.NoError(t, err)
	cured := strings.Replace(string(drawn), "breaking_capacity: 6 kA", "breaking_capacity: 10 kA", 1)
	require.NotEqual(t, string(drawn), cured)
	story, err := os.ReadFile(besses + "old_bess/story.yaml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(root, "vehicle.yaml"), drawn, 0o644))
	for _, name := range []string{"instruments.yaml", "people.yaml"} { // the same people and instruments
		b, err := checklists.Files.ReadFile("demo/" + name)
		require.NoError(t, err)
		b = bytes.Replace(b, []byte("{to: 500 V, digit: 2 V"), []byte("{to: 160 V, digit: 0.625 V, full_scale: 3%}, {to: 500 V, digit: 2 V"), 1) // its range for 134 V
		require.NoError(t, os.WriteFile(filepath.Join(root, name), b, 0o644))
	}
	require.NoError(t, os.CopyFS(filepath.Join(root, "answers"), os.DirFS(besses+"old_bess/answers")))
	bessCaptures(t, filepath.Join(root, "captures"))
	require.NoError(t, a.beginPractice(t.Context(), root, []practicePerson{
		{"d.vance", []people.Role{people.Releaser}},
		{"r.mills", []people.Role{people.Operator, people.Witness, people.Releaser}},
		{"s.okoro", []people.Role{people.Operator, people.Witness}},
	}))
	var out bytes.Buffer
	files := fstest.MapFS{"story.yaml": {Data: story}, "vehicle_first.yaml": {Data: drawn}, "vehicle.yaml": {Data: []byte(cured)}}
	if err := a.play(t.Context(), files, &out); err != nil {
		t.Fatalf("%v\n%s\n%s", err, lastLines(said.String(), 6), lastLines(out.String(), 24))
	}

	s, err := a.read(t.Context())
	require.NoError(t, err)
	t.Cleanup(func() { s.close() })
	_, err = s.load()
	require.NoError(t, err)
	d := &tour{t, strings.Join(strings.Fields(out.String()), " "), s}
	d.bessDrawing()
	d.bessLoad()
	d.bessReadings()
	d.bessAbsent()
}

// bessDrawing: the figures of the car, and the fuse that cannot break.
func (d *tour) bessDrawing() {
	d.says("The fuse of the pack breaks 6 kA and the pack can give 7634 A", "main.breaks: 6 kA, at least 7.634 kA: FAIL")
	m := d.run("design_review", 0)
	s, a := d.step(m, "main.breaks")
	assert.Equal(d.T, run.Fail, a.Decision)
	d.at(7634, s.Limits()[0].Low, "prospective current at worst")
	d.at(5725, 146/25.5e-3, "the nominal current, which looked fine")
	for _, st := range m.Steps() {
		if st.Failed {
			assert.Contains(d.T, []string{"main.breaks", "agreed"}, st.Step.Path)
		}
	}
	_, a = d.step(d.run("design_review", 1), "main.breaks")
	assert.Equal(d.T, run.Pass, a.Decision)

	car := d.s.folder.Vehicle
	for _, c := range []struct {
		name        string
		lo, nom, hi float64 // 0: not in the table
	}{
		{"system.max_voltage", 0, 146.0, 0}, {"system.nominal_voltage", 0, 128.0, 0}, {"system.min_voltage", 0, 100.0, 0},
		{"system.energy", 0, 23.04e3 * 3600, 0},
		{"packs.main.total_resistance", 19.125e-3, 25.50e-3, 31.875e-3},
		{"packs.main.short_circuit_current", 0, 5725, 7634},
		{"precharge.tau", 0.3572, 0.4700, 0.5922},
		{"precharge.time", 0, 1.408, 1.774},
		{"precharge.energy", 0, 0, 60.11},
		{"precharge.peak_current", 0, 0, 1.537},
		{"precharge.interval", 0, 0, 2.404},
		{"precharge.inrush", 0, 0, 381.7},
		{"discharge.passive_time", 0, 41.80, 52.66},
		{"discharge.after_label", 0, 0, 0.9210},
		{"coils.parallel_resistance", 21.60, 0, 0},
		{"shutdown_chain.resistance", 0, 0.3800, 0},
		{"system.coil_voltage_min", 10.81, 0, 0},
		{"system.low_voltage_needed", 0, 0, 9.158},
		{"system.y_energy", 0, 0, 1.279e-3},
	} {
		r, err := car.DerivedValue(c.name)
		require.NoError(d.T, err, c.name)
		for _, x := range [][2]float64{{c.lo, r.Lo}, {c.nom, r.Nominal}, {c.hi, r.Hi}} {
			if x[0] != 0 {
				d.at(x[0], x[1], c.name)
			}
		}
	}
	limits := d.run("isolation_whole", 0).Plan().Steps
	i := slices.IndexFunc(limits, func(s plan.Step) bool { return s.Path == "whole.isolation" })
	require.GreaterOrEqual(d.T, i, 0)
	d.at(1.000e6, limits[i].Limits()[0].Low, "the shop's 1 MΩ governs, not 100 Ω/V: 14.60 kΩ")
	assert.InDelta(d.T, 1.036e6, (1.000e6+5*1e3)/0.97, 1e3, "what the insulation tester must show")
}

// bessLoad: pre-charge with the converter left on. What hv computes is held
// against the table, what the capture says against both.
func (d *tour) bessLoad() {
	v := link(25, 4)
	for at, want := range map[int]float64{500: 73.86, 1000: 94.35, 2000: 108.3, 4000: 111.5} {
		d.at(want, v[at], "the link, after so many ms")
	}
	on := hv.Precharge{Volts: 134, Ohms: 100, Farads: 4.7e-3, Watts: 25, From: 60}
	stall, steady := on.Stall()
	assert.True(d.T, steady)
	d.at(111.6, stall, "where it stalls")
	d.at(83.28, 100*stall/134, "per cent of the pack")
	d.at(0.2791, on.TimeTo(60), "60 V")
	d.at(5.018, (134-stall)*(134-stall)/100, "watts in the resistor, for ever")
	d.at(8.529, hv.Precharge{Volts: 134, Ohms: 100}.LoadAllowed(0.95), "watts with which 95 % is still reached")
	d.at(44.89, 134*134/400.0, "watts above which there is no steady point")
	_, steady = hv.Precharge{Volts: 134, Ohms: 100, Farads: 4.7e-3, Watts: 45, From: 60}.Stall()
	assert.False(d.T, steady)
	d.at(22.40, 134-stall, "volts across the main contactor, if it closed there")
	assert.InEpsilon(d.T, 1171, (134-stall)/19.125e-3, 5e-4)
	assert.Greater(d.T, 1171, 800)

	m := d.run("precharge", 0)
	_, a := d.step(m, "alone.tau")
	assert.Equal(d.T, run.Fail, a.Decision)
	require.Len(d.T, a.Findings, 2)
	assert.Contains(d.T, a.Findings[0], "knee: The slope breaks at 60 V, 28") // 279.1 ms
	load := a.Findings[1]
	assert.Contains(d.T, load, "load-during-precharge: The link stopped at 112 V of 134 V")
	found := regexp.MustCompile(`something drew (\S+) mA .* as a converter (\S+) W`).FindStringSubmatch(load)
	require.NotNil(d.T, found, load)
	for i, want := range []float64{224, 25.00} { // 23.81 to 26.31 W over the resistor's 5 %, and the scope's bits
		var got float64
		_, err := fmt.Sscan(found[i+1], &got)
		require.NoError(d.T, err)
		assert.InEpsilon(d.T, want, got, 0.03, load)
	}
	assert.Equal(d.T, run.Failed, m.Outcome(), "the main contactor must not close")
	d.says("First closing of the main contactors (first_closing, stage C): REFUSED", "power may NOT come on")
}

// bessReadings: everything else passes, and nothing is said of a trend.
func (d *tour) bessReadings() {
	value := func(procedure, path string, want, within float64) {
		d.Helper()
		_, a := d.step(d.run(procedure, 0), path)
		assert.Equal(d.T, run.Pass, a.Decision, path)
		assert.InEpsilon(d.T, want, a.Value, within, path)
	}
	value("pack_voltages", "main.voltage", 134.0, 1e-9)
	value("isolation_parts", "drive.isolation", 18.5e6, 1e-9)
	value("isolation_parts", "dcdc.isolation", 61.0e6, 1e-9)
	_, a := d.step(d.run("discharge", 0), "curve.tau")
	assert.Equal(d.T, run.Pass, a.Decision)
	// Both poles in parallel: the pack 6.20 MΩ, the whole 4.31 MΩ.
	both := func(procedure, path string) float64 {
		m := d.run(procedure, 0)
		s, _ := d.step(m, path)
		r, ok := m.Isolation(s)
		require.True(d.T, ok)
		return r.Both.X
	}
	assert.InEpsilon(d.T, 6.20e6, both("isolation_pack", "main.isolation"), 2e-3)
	whole := both("isolation_whole", "whole.isolation")
	assert.InEpsilon(d.T, 4.31e6, whole, 2e-3)
	d.at(4.315, 1/(1/6.20+1/18.5+1/61.0), "the whole from its parts")
	assert.True(d.T, 4.156e6 < whole && whole < 4.474e6, "agrees")
	assert.Empty(d.T, d.s.leaks(d.s.folder))

	cells := 0
	for _, s := range d.run("emergency_off", 0).Steps() {
		if strings.HasSuffix(s.Step.Path, ".opens") {
			cells++
			assert.Equal(d.T, run.Pass, s.Last().Decision, s.Step.Path)
		}
	}
	assert.Equal(d.T, 3*2, cells)
	assert.Nil(d.T, d.s.record.Baseline())
	for _, t := range readiness.Trends(d.s.facts()) {
		f, falls := t.Falls()
		assert.False(d.T, falls, "%v", f)
	}
}

// bessAbsent: what the car does not have is not applicable, with its reason.
func (d *tour) bessAbsent() {
	reasons := map[string]string{}
	for _, p := range readiness.Proofs(d.s.facts(), d.s.folder.Requirements(true), d.s.now()) {
		assert.True(d.T, p.OK() || !p.Required, p.Proof)
		if p.State == readiness.NotApplicable {
			reasons[p.Proof] = p.Reason
		}
	}
	require.Len(d.T, reasons, 6)
	for proof, why := range map[string]string{"pyro_circuit": "has(pyro.bridge)", "paralleling": "count(packs", "sharing": "count(packs",
		"emergency_off_all_packs": "count(packs", "isolation_whole_all_packs": "count(packs", "isolation_monitor": "has(isolation_monitor"} {
		assert.Contains(d.T, reasons[proof], why, proof)
	}
	d.says("power may come on", "PERMIT TO ENERGISE")
}

func lastLines(text string, n int) string {
	lines := strings.Split(strings.TrimRight(text, "\n"), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}
