package checklists_test

import (
	"bytes"
	"flag"
	"fmt"
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
	columns        []string
	at             func(t float64) []float64
}

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
	both := []string{"dc_link (V)", "pack (V)"}
	return []recording{
		{"precharge_33_ohm.csv", -0.01, 0.35, 1e-4, 4, both, rise(34.8e-3, 0.9985, math.Inf(1))},
		{"precharge.csv", -0.01, 0.5, 2e-4, 4, both, rise(70.9e-3, 0.9969, math.Inf(1))},
		{"closing.csv", -0.01, 0.35, 1e-4, 4, both, rise(70.9e-3, 0.9969, 0.25)},
		{"discharge.csv", -0.1, 8, 2e-3, 3, both[:1], func(t float64) []float64 {
			return []float64{pack * math.Exp(-math.Max(0, t-0.031)/1.741)}
		}},
	}
}

// write gives the file. Its noise is the sum of twelve steps of a linear
// congruential generator (Knuth's MMIX), which no library can change.
func (r recording) write() []byte {
	var b bytes.Buffer
	b.WriteString("Time (s)," + strings.Join(r.columns, ",") + "\n")
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
		for _, v := range r.at(t) {
			const lsb = 500.0 / 256
			fmt.Fprintf(&b, ",%.2f", lsb*math.Round((v+noise())/lsb)+0)
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
			require.NoError(t, os.WriteFile(name, want, 0o644))
			continue
		}
		got, err := checklists.Files.ReadFile(name)
		require.NoError(t, err)
		assert.Less(t, len(got), 300_000, name)
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
				require.InDelta(t, q, p, 1.96, "%s line %d", name, i+1)
			}
		}
	}
}
