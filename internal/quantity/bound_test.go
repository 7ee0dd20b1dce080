package quantity_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestBoundString(t *testing.T) {
	inf := math.Inf(1)
	tests := []struct {
		b    quantity.Bound
		want string
	}{
		{quantity.Bound{Kind: quantity.AtLeast, Low: 500 * 403.2, Dim: quantity.Ohm}, "at least 201.6 kΩ"},
		{quantity.Bound{Kind: quantity.AtLeast, Low: 500 * 96 * 4.2, Dim: quantity.Ohm}, "at least 201.6 kΩ"},
		{quantity.Bound{Kind: quantity.AtLeast, Low: math.Nextafter(201600, inf), Dim: quantity.Ohm}, "at least 201.6 kΩ"},
		{quantity.Bound{Kind: quantity.AtLeast, Low: 201600.01, Dim: quantity.Ohm}, "at least 201.7 kΩ"},
		{quantity.Bound{Kind: quantity.AtMost, High: 60, Dim: quantity.Volt}, "at most 60 V"},
		{quantity.Bound{Kind: quantity.AtMost, High: math.Nextafter(60, 0), Dim: quantity.Volt}, "at most 60 V"},
		{quantity.Bound{Kind: quantity.AtMost, High: 59.9999, Dim: quantity.Volt}, "at most 59.99 V"},
		{quantity.Bound{Kind: quantity.AtMost, High: 999.99, Dim: quantity.Volt}, "at most 999.9 V"},
		{quantity.Bound{Kind: quantity.AtLeast, Low: 999.91, Dim: quantity.Volt}, "at least 1 kV"},
		{quantity.Bound{Kind: quantity.AtLeast, Low: -1e-9, Dim: quantity.Volt}, "at least -0.001 µV"},
		{quantity.Bound{Kind: quantity.MagnitudeAtMost, High: 60, Dim: quantity.Volt}, "magnitude at most 60 V"},
		{quantity.Bound{Kind: quantity.Between, Low: 0.059301, High: 0.080112, Dim: quantity.Second}, "between 59.31 ms and 80.11 ms"},
		{quantity.Bound{Kind: quantity.Expected, Low: 0.059306, High: 0.080111, Dim: quantity.Second}, "expected 59.3 ms to 80.12 ms"},
		{quantity.Bound{Kind: quantity.Expected, Low: 1, High: 1, Dim: quantity.Volt}, "expected 1 V"},
		// Four digits would leave nothing between the ends.
		{quantity.Bound{Kind: quantity.Between, Low: 100.001, High: 100.002, Dim: quantity.Volt}, "between 100.001 V and 100.002 V"},
		{quantity.Bound{Kind: quantity.Between, Low: 5, High: 4, Dim: quantity.Volt}, "between 5 V and 4 V"},
		{quantity.Bound{Kind: quantity.AtMost, High: math.NaN(), Dim: quantity.Volt}, "at most not a number"},
		{quantity.Bound{Kind: quantity.AtMost, High: inf, Dim: quantity.Volt}, "at most infinite"},
		{quantity.Bound{Kind: quantity.AtMost, High: math.Copysign(0, -1), Dim: quantity.Volt}, "at most 0 V"},
		{quantity.Bound{}, "no bound"},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.want, tt.b.String())
	}
}

func TestBoundContains(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	tests := []struct {
		b       quantity.Bound
		in, out []float64
	}{
		{quantity.Bound{Kind: quantity.AtLeast, Low: 5}, []float64{5, inf}, []float64{math.Nextafter(5, 0), -5, nan}},
		{quantity.Bound{Kind: quantity.AtMost, High: 5}, []float64{5, -inf}, []float64{math.Nextafter(5, inf), nan}},
		{quantity.Bound{Kind: quantity.MagnitudeAtMost, High: 60}, []float64{60, -60, 0}, []float64{-362, 362, -inf, nan}},
		{quantity.Bound{Kind: quantity.Between, Low: 1, High: 2}, []float64{1, 2}, []float64{0.999, 2.001, nan}},
		{quantity.Bound{Kind: quantity.Expected, Low: 1, High: 2}, []float64{1, 2}, []float64{0.999, 2.001, nan}},
		{quantity.Bound{Kind: quantity.Between, Low: 2, High: 1}, nil, []float64{1, 1.5, 2}},
		{quantity.Bound{Kind: quantity.AtLeast, Low: nan}, nil, []float64{0, inf, nan}},
		{quantity.Bound{Kind: quantity.AtMost, High: nan}, nil, []float64{0, -inf, nan}},
		{quantity.Bound{}, nil, []float64{0, 1, nan}},
		{quantity.Bound{Kind: 99, Low: -1, High: 1}, nil, []float64{0}},
	}
	for _, tt := range tests {
		for _, x := range tt.in {
			assert.True(t, tt.b.Contains(x), "%v contains %v", tt.b, x)
		}
		for _, x := range tt.out {
			assert.False(t, tt.b.Contains(x), "%v contains %v", tt.b, x)
		}
	}
}

// What a limit prints is never easier to meet than the limit, what a window
// prints never narrower than the window.
func TestBoundRoundsInward(t *testing.T) {
	read := func(t *rapid.T, text string) float64 {
		v, err := quantity.Parse(text)
		require.NoError(t, err, text)
		return v.SI
	}
	rapid.Check(t, func(t *rapid.T) {
		scale := pow10(rapid.IntRange(-9, 9).Draw(t, "exponent"))
		low := rapid.Float64Range(1, 10).Draw(t, "low") * scale
		high := low * rapid.Float64Range(1, 10).Draw(t, "ratio")
		noise := 1e-12 * high
		cut := func(kind quantity.BoundKind, before, between string) (float64, float64) {
			text, ok := strings.CutPrefix(quantity.Bound{Kind: kind, Low: low, High: high, Dim: quantity.Ohm}.String(), before)
			require.True(t, ok, text)
			a, b, two := strings.Cut(text, between)
			if !two {
				b = a
			}
			return read(t, a), read(t, b)
		}
		least, _ := cut(quantity.AtLeast, "at least ", "|")
		most, _ := cut(quantity.AtMost, "at most ", "|")
		require.GreaterOrEqual(t, least, low-noise)
		require.LessOrEqual(t, most, high+noise)
		a, b := cut(quantity.Between, "between ", " and ")
		require.True(t, a >= low-noise && b <= high+noise)
		if high > low*(1+1e-11) {
			require.LessOrEqual(t, a, b)
		}
		a, b = cut(quantity.Expected, "expected ", " to ")
		require.True(t, a <= low+noise && b >= high-noise)
	})
}

func TestBoundKind(t *testing.T) {
	for k, want := range map[quantity.BoundKind]string{
		quantity.AtLeast: "at_least", quantity.AtMost: "at_most", quantity.Between: "between",
		quantity.MagnitudeAtMost: "magnitude_at_most", quantity.Expected: "expected",
	} {
		assert.Equal(t, want, k.String())
		back, ok := quantity.ParseBoundKind(want)
		assert.True(t, ok)
		assert.Equal(t, k, back)
	}
	_, ok := quantity.ParseBoundKind("no bound")
	assert.False(t, ok)
}
