package capture

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Lines that templates read give the same bits as strconv, whatever their
// layouts do: signs, digits and exponents that come and go, times that are
// even, then not, blocks of few lines.
func TestTemplatesAsStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		places := rapid.IntRange(0, 9).Draw(t, "places")
		format := rapid.SampledFrom([]byte{'f', 'f', 'e'}).Draw(t, "format")
		end := rapid.SampledFrom([]string{"\n", "\r\n", ",\n", " \n"}).Draw(t, "end")
		step := rapid.SampledFrom([]int64{1, 3, 50}).Draw(t, "step")
		digits := rapid.IntRange(0, 6).Draw(t, "digits of time")
		lines := rapid.IntRange(2, 400).Draw(t, "lines")
		sharp := rapid.IntRange(0, 3*lines).Draw(t, "uneven from")
		scale := rapid.SampledFrom([]float64{1e-3, 1, 100, 1e6}).Draw(t, "scale")
		m, noise := rapid.Int64Range(-300, 300).Draw(t, "start"), rapid.Uint32().Draw(t, "seed")
		var b strings.Builder
		var times, values []float64
		b.WriteString("Time (s),U (V)\n")
		for i := range lines {
			noise = noise*1664525 + 1013904223
			if m += step; i >= sharp {
				m += int64(noise >> 30)
			}
			at := strconv.FormatFloat(float64(m)/tens[digits], 'f', digits, 64)
			v := strconv.FormatFloat(scale*(float64(noise)/math.MaxUint32-0.3), format, places, 64)
			fmt.Fprintf(&b, "%s,%s%s", at, v, end)
			x, err := strconv.ParseFloat(at, 64)
			require.NoError(t, err)
			y, err := strconv.ParseFloat(v, 64)
			require.NoError(t, err)
			times, values = append(times, x), append(values, y)
		}
		w, err := Read(strings.NewReader(b.String()), Options{Delimiter: ",", Decimal: "."})
		if err != nil {
			t.Fatal(err)
		}
		ch := w.Channels[0]
		if len(ch.V) != lines {
			t.Fatalf("%d of %d lines", len(ch.V), lines)
		}
		for i, v := range ch.V {
			if math.Float64bits(v) != math.Float64bits(values[i]) {
				t.Fatalf("line %d: %v, not %v", i, v, values[i])
			}
			slack := 0.0
			if ch.Axis.Regular() {
				slack = ch.Axis.Digit + 1e-9
			}
			if math.Abs(ch.Axis.At(i)-times[i]) > slack {
				t.Fatalf("line %d: time %v, not %v", i, ch.Axis.At(i), times[i])
			}
		}
	})
}
