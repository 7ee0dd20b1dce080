package capture

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Times written with some decimals are found to be regular, to within the
// last decimal; a gap or a jump of two decimals is not.
func TestRegular(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 2000).Draw(t, "n")
		decimals := rapid.IntRange(3, 9).Draw(t, "decimals")
		digit := math.Pow10(-decimals)
		step := digit * float64(rapid.IntRange(10, 5000).Draw(t, "step"))
		start := rapid.Float64Range(-10, 10).Draw(t, "start")
		times := make([]float64, n)
		for i := range times {
			text := strconv.FormatFloat(start+float64(i)*step, 'f', decimals, 64)
			times[i], _ = strconv.ParseFloat(text, 64)
		}
		from, by, ok := regular(times, digit)
		require.True(t, ok)
		for i, x := range times {
			require.InDelta(t, x, from+float64(i)*by, 1.01*digit)
		}
		if k := rapid.IntRange(1, n-1).Draw(t, "jump"); n > 3 {
			for i := k; i < n; i++ {
				times[i] += 4 * step
			}
			if _, _, ok := regular(times, digit); ok && k > 1 && k < n-1 {
				t.Fatalf("a gap of 4 steps at %d of %d went unseen", k, n)
			}
		}
	})
}

// No peak is lost, the order stays, and there are not more points than asked
// for.
func TestDecimate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := rapid.SliceOfN(rapid.Float64Range(-1e3, 1e3), 0, 3000).Draw(t, "v")
		points := rapid.IntRange(8, 500).Draw(t, "points")
		for range rapid.IntRange(0, 3).Draw(t, "gaps") {
			if len(v) > 0 {
				v[rapid.IntRange(0, len(v)-1).Draw(t, "gap")] = math.NaN()
			}
		}
		got := Decimate(v, points)
		if len(v) <= points {
			require.Len(t, got, len(v))
		} else {
			require.LessOrEqual(t, len(got), points)
			require.Equal(t, 0, got[0])
			require.Equal(t, len(v)-1, got[len(got)-1])
		}
		least, greatest, gaps := math.Inf(1), math.Inf(-1), false
		for _, x := range v {
			least, greatest, gaps = minimum(least, x), maximum(greatest, x), gaps || math.IsNaN(x)
		}
		a, b, seen := math.Inf(1), math.Inf(-1), false
		for i, k := range got {
			require.True(t, i == 0 || k > got[i-1])
			a, b, seen = minimum(a, v[k]), maximum(b, v[k]), seen || math.IsNaN(v[k])
		}
		require.Equal(t, least, a)
		require.Equal(t, greatest, b)
		require.Equal(t, gaps, seen)
	})
}

func minimum(a, x float64) float64 {
	if x < a {
		return x
	}
	return a
}

func maximum(a, x float64) float64 {
	if x > a {
		return x
	}
	return a
}

func TestAxis(t *testing.T) {
	a := Axis{Start: -1, Step: 0.5, N: 5}
	assert.Equal(t, 0.5, a.At(3))
	assert.Equal(t, 1.0, a.End())
	assert.Equal(t, 3, a.Index(0.1))
	assert.Equal(t, 5, a.Index(2))
	assert.Equal(t, 0.5, a.Interval())
	b := Axis{Times: []float64{0, 1, 1, 4}, N: 4}
	assert.Equal(t, 1, b.Index(1))
	assert.Equal(t, 4.0/3, b.Interval())
	assert.True(t, math.IsNaN((&Axis{}).End()))
	assert.True(t, math.IsNaN((&Axis{N: 1}).Interval()))
}
