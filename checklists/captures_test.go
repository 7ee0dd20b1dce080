package checklists_test

import (
	"bytes"
	"compress/gzip"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/checklists"
)

// update writes the demo car's captures anew: go test ./checklists -run Captures -update.
var update = flag.Bool("update", false, "write demo/captures")

// A recording is what the demo car's invented scope wrote: 8 bits of 500 V,
// some noise, the same on every machine.
type recording struct {
	name           string
	from, to, step float64 // s
	digits         int     // of the time
	columns        []column
	at             func(t float64) []float64
}

// A column is one channel: its heading, and the step of its converter.
type column struct {
	heading string
	step    float64
}

// step500, step50 and stepAmps are the steps of the scope's eight bits in its range
// of 500 V and of 50 V, and the last digit of the clamps.
const (
	step500  = 500.0 / 256
	step50   = 50.0 / 256
	stepAmps = 0.1
)

// captures of the demo car: 33 Ω fitted for 68 Ω; 68 Ω; the same with the
// main contactor closing at 250 ms; the discharge, 31 ms after the trip. By the
// bleed resistor pre-charge reaches 0.9969 of the pack.
func captures() []recording {
	const pack = 362.4
	rise := func(tau, reach, closing float64) func(t float64) []float64 {
		return func(t float64) []float64 {
			if t >= closing {
				return []float64{pack, pack}
			}
			return []float64{reach * pack * -math.Expm1(-math.Max(0, t)/tau), pack}
		}
	}
	fall := func(from, delay, tau float64) func(t float64) float64 {
		return func(t float64) float64 { return from * math.Exp(-math.Max(0, t-delay)/tau) }
	}
	both := []column{{"dc_link (V)", step500}, {"pack (V)", step500}}
	out := []recording{
		{"precharge_33_ohm.csv", -0.01, 0.35, 1e-4, 4, both, rise(34.8e-3, 0.9985, math.Inf(1))},
		{"precharge.csv", -0.01, 0.5, 2e-4, 4, both, rise(70.9e-3, 0.9969, math.Inf(1))},
		{"closing.csv", -0.01, 0.35, 1e-4, 4, both, rise(70.9e-3, 0.9969, 0.25)},
		{"discharge.csv", -0.1, 8, 2e-3, 3, both[:1], func(t float64) []float64 { return []float64{fall(pack, 0.031, 1.741)(t)} }},
		{"low_energy.csv.gz", -0.2, 8, 8e-3, 3, []column{{"dc_link (V)", step50}}, func(t float64) []float64 { return []float64{fall(47.9, 0.031, 1.741)(t)} }},
		// 300 A through both packs, 199.1 A and 100.9 A, a little unsteady.
		{"load.csv.gz", 0, 20, 0.1, 1, []column{{"current.left (A)", stepAmps}, {"current.right (A)", stepAmps}}, func(t float64) []float64 {
			load := 300 + 6*math.Sin(t)
			return []float64{load * 0.66367, load * 0.33633}
		}},
	}
	return append(append(out, releases()...), trips(fall)...)
}

// until is a level that ends at a time.
func until(end, level, t float64) float64 {
	if t < end {
		return level
	}
	return 0
}

// releases are the openings of the contactors on 12 V: the shutdown circuit
// opens at 0, the coil is off 1 ms later, and the contacts open.
func releases() []recording {
	var out []recording
	columns := []column{{"trip (V)", step50}, {"coil (V)", step50}, {"main_contactor (V)", step50}}
	for _, c := range []struct {
		contactor string
		release   float64
	}{{"left_plus", 31.2e-3}, {"left_minus", 30.4e-3}, {"right_plus", 31.8e-3}, {"right_minus", 30.9e-3}} {
		out = append(out, recording{"release_" + c.contactor + ".csv.gz", -0.02, 0.15, 1e-4, 4, columns, func(t float64) []float64 {
			return []float64{until(0, 12.1, t), until(1e-3, 9.33, t), until(c.release, 11.9, t)}
		}})
	}
	return out
}

// trips are one for each emergency-off device: with one pack, with both, and
// while charging with 3.2 A.
func trips(fall func(from, delay, tau float64) func(t float64) float64) []recording {
	var out []recording
	common := []column{{"trip (V)", step50}, {"coil (V)", step50}, {"dc_link (V)", step500}}
	charging := []column{{"trip (V)", step50}, {"dc_link (V)", step500}, {"charging current (A)", stepAmps}}
	devices := []string{"cabin_isolator", "driver_button", "outside_left", "outside_right", "inertia", "isolation_relay", "battery_relay", "interlock"}
	for i, device := range devices {
		delay := 30e-3 + 0.4e-3*float64(i)
		tau := 1.741 + 1e-3*float64(i%3)
		for _, c := range []struct {
			name string
			from float64
		}{{"trip_", 362.0}, {"all_packs_", 361.8}} {
			link := fall(c.from, delay, tau)
			out = append(out, recording{c.name + device + ".csv.gz", -0.4, 4.4, 4e-3, 3, common, func(t float64) []float64 {
				return []float64{until(0, 12.6, t), until(2e-3, 12.1, t), link(t)}
			}})
		}
		link := fall(363.1, delay, tau)
		out = append(out, recording{"charging_" + device + ".csv.gz", -0.4, 4.4, 4e-3, 3, charging, func(t float64) []float64 {
			return []float64{until(0, 12.6, t), link(t), until(delay, 3.2, t)}
		}})
	}
	return out
}

// write gives the file. Its noise is the sum of twelve steps of a linear
// congruential generator (Knuth's MMIX), which no library can change.
func (r recording) write() []byte {
	var b bytes.Buffer
	b.WriteString("Time (s)")
	for _, c := range r.columns {
		b.WriteString("," + c.heading)
	}
	b.WriteByte('\n')
	seed := uint64(len(r.name))
	noise := func() float64 {
		sum := -6.0
		for range 12 {
			seed = seed*6364136223846793005 + 1442695040888963407
			sum += float64(seed>>11) / (1 << 53)
		}
		return 0.9 * sum
	}
	n := int(math.Round((r.to - r.from) / r.step))
	for i := range n + 1 {
		t := r.from + float64(i)*r.step
		fmt.Fprintf(&b, "%.*f", r.digits, t)
		for k, v := range r.at(t) {
			lsb := r.columns[k].step
			fmt.Fprintf(&b, ",%.2f", lsb*math.Round((v+noise()*lsb/step500)/lsb)+0)
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

// The captures in the program are what the generator makes; another
// processor's last bit may move a sample by one step.
func TestDemoCaptures(t *testing.T) {
	for _, r := range captures() {
		name, want := "demo/captures/"+r.name, r.write()
		if *update {
			require.NoError(t, os.WriteFile(name, packed(t, name, want), 0o644))
			continue
		}
		got, err := checklists.Files.ReadFile(name)
		require.NoError(t, err)
		assert.Less(t, len(got), 80_000, name)
		got = unpacked(t, name, got)
		a, b := strings.Split(string(got), "\n"), strings.Split(string(want), "\n")
		require.Len(t, a, len(b), name)
		require.Equal(t, b[0], a[0])
		for i := 1; i < len(a)-1; i++ {
			x, y := strings.Split(a[i], ","), strings.Split(b[i], ",")
			require.Len(t, x, len(y))
			for k := range x {
				p, err := strconv.ParseFloat(x[k], 64)
				require.NoError(t, err)
				q, err := strconv.ParseFloat(y[k], 64)
				require.NoError(t, err)
				lsb := 1e-9
				if k > 0 {
					lsb = r.columns[k-1].step
				}
				require.InDelta(t, q, p, 1.01*lsb+0.01, "%s line %d", name, i+1)
			}
		}
	}
}

// packed gives a file's bytes, compressed where its name says so.
func packed(t *testing.T, name string, text []byte) []byte {
	if !strings.HasSuffix(name, ".gz") {
		return text
	}
	var b bytes.Buffer
	z, err := gzip.NewWriterLevel(&b, gzip.BestCompression)
	require.NoError(t, err)
	_, err = z.Write(text)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	return b.Bytes()
}

func unpacked(t *testing.T, name string, b []byte) []byte {
	if !strings.HasSuffix(name, ".gz") {
		return b
	}
	z, err := gzip.NewReader(bytes.NewReader(b))
	require.NoError(t, err)
	text, err := io.ReadAll(z)
	require.NoError(t, err)
	return text
}

// Every recording in the program is one that the generator makes.
func TestNoOtherCaptures(t *testing.T) {
	var made []string
	for _, r := range captures() {
		made = append(made, "demo/captures/"+r.name)
	}
	assert.ElementsMatch(t, made, names(t, "demo/captures/*"))
}
