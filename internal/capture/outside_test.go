//go:build outside

package capture

import (
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// pandasScript reads a file with pandas' C parser, which is what this reader
// is measured against, and prints the least time of five runs and the sum.
const pandasScript = `
import sys, time, pandas
best = 1e9
for _ in range(5):
    start = time.perf_counter()
    frame = pandas.read_csv(sys.argv[1], engine="c", skiprows=6, header=None, float_precision="round_trip" if sys.argv[2] == "exact" else None)
    best = min(best, time.perf_counter() - start)
total = 0.0
for v in frame[1]:
    total += v
print(best, repr(float(total)), len(frame))
`

// withPandas finds a Python that has pandas: the system's first.
func withPandas(t *testing.T) string {
	t.Helper()
	for _, name := range []string{"/usr/bin/python3", "python3"} {
		if exec.Command(name, "-c", "import pandas").Run() == nil {
			return name
		}
	}
	require.Fail(t, "no python3 with pandas here", "apt-get install python3-pandas")
	return ""
}

// TestPandas reads the benchmark's files faster than pandas' C reader, on one
// core, in the same run; with pandas' exact parser, to the same values.
func TestPandas(t *testing.T) {
	python := withPandas(t)
	for _, form := range []string{"plain", "scientific"} {
		name, rows := writeBench(t, benchBytes, form == "scientific")
		for _, floats := range []string{"exact", "fast"} {
			out, err := exec.Command(python, "-c", pandasScript, name, floats).CombinedOutput()
			require.NoError(t, err, string(out))
			fields := strings.Fields(string(out))
			require.Len(t, fields, 3, string(out))
			theirs, err := strconv.ParseFloat(fields[0], 64)
			require.NoError(t, err)
			var ours spent
			var values []float64
			ours.fastest(5, func() { values = readFile(t, name, Options{Digest: new([32]byte), Workers: 1}) })
			require.Len(t, values, rows)
			require.Equal(t, fields[2], strconv.Itoa(rows))
			if floats == "exact" {
				want, err := strconv.ParseFloat(fields[1], 64)
				require.NoError(t, err)
				require.Equal(t, want, sum(values))
			}
			t.Logf("%s, %s floats: pandas %.0f ms, this reader on one core %.0f ms: %.1f ×", form, floats, theirs*1e3,
				ours.clock.Seconds()*1e3, theirs/ours.clock.Seconds())
			require.Less(t, ours.clock.Seconds(), theirs)
		}
	}
}
