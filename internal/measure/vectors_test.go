package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/measure/vectortest"
	"hvproof/internal/quantity"
)

const vectors = "../../testdata/vectors"

// typed parses a reading as somebody types it.
func typed(t testing.TB, text string, dim quantity.Dim) quantity.Reading {
	t.Helper()
	q, err := quantity.ParseReading(text, dim)
	require.NoError(t, err)
	return q
}

func TestAccuracyVectors(t *testing.T) {
	vectortest.Run(t, vectors, "accuracy.txt", 3, func(t *testing.T, c *vectortest.Case) {
		f := Function{Name: "f", Dim: quantity.Volt, Ranges: []MeterRange{{
			To: c.Quantity("to", quantity.Volt), Digit: c.Quantity("digit", quantity.Volt),
			PercentOfReading: c.Number("of_reading") / 100, Digits: c.Number("digits"),
		}}}
		r, warnings, err := f.Read(typed(t, c.Text("reading"), quantity.Volt), nil)
		require.NoError(t, err)
		assert.Empty(t, warnings)
		assert.InDelta(t, c.Quantity("u", quantity.Volt), r.U, 1e-12)
	})
}

func TestDecisionVectors(t *testing.T) {
	b := quantity.Bound{Kind: quantity.MagnitudeAtMost, High: 0.003, Dim: quantity.One}
	vectortest.Run(t, vectors, "decision.txt", 4, func(t *testing.T, c *vectortest.Case) {
		for _, sign := range []float64{1, -1} {
			r := Reading{Value: sign * c.Number("value"), U: 0.001, Dim: quantity.One}
			assert.Equal(t, Verdict(c.Text("verdict")), Decide(r, b, GuardBand).Verdict)
			assert.Equal(t, Verdict(c.Text("simple")), Decide(r, b, SimpleAcceptance).Verdict)
		}
	})
}

func TestDisplayVectors(t *testing.T) {
	dims := map[string]quantity.Dim{"Ω": quantity.Ohm, "s": quantity.Second, "N·m": quantity.NewtonMetre}
	vectortest.Run(t, vectors, "display.txt", 9, func(t *testing.T, c *vectortest.Case) {
		dim, ok := dims[c.Text("unit")]
		require.True(t, ok)
		f, b := displayCase(c, dim)
		got := CanDecide(f, b, nil, GuardBand)
		require.False(t, got.Hopeless, got.Why)
		assert.True(t, got.Decides)
		assert.Equal(t, end(c, "from", dim, math.Inf(-1)), got.AcceptFrom)
		assert.Equal(t, end(c, "to", dim, math.Inf(1)), got.AcceptTo)
		for _, x := range []float64{got.AcceptFrom, got.AcceptTo} {
			if !math.IsInf(x, 0) {
				inside := Reading{Value: x, U: f.Ranges[0].U(x), Dim: dim}
				assert.Equal(t, Pass, Decide(inside, b, GuardBand).Verdict, "%g", x)
			}
		}
		beyond := got.AcceptFrom - f.Ranges[0].Digit
		if b.Kind == quantity.AtMost {
			beyond = got.AcceptTo + f.Ranges[0].Digit
		}
		outside := Reading{Value: beyond, U: f.Ranges[0].U(beyond), Dim: dim}
		assert.NotEqual(t, Pass, Decide(outside, b, GuardBand).Verdict, "%g", beyond)
	})
}

func end(c *vectortest.Case, key string, dim quantity.Dim, open float64) float64 {
	if c.Text(key) == "open" {
		return open
	}
	return c.Quantity(key, dim)
}

func displayCase(c *vectortest.Case, dim quantity.Dim) (Function, quantity.Bound) {
	r := MeterRange{To: c.Quantity("range", dim), Digit: c.Quantity("digit", dim)}
	if c.Has("of_reading") {
		r.PercentOfReading = c.Number("of_reading") / 100
	}
	if c.Has("digits") {
		r.Digits = c.Number("digits")
	}
	if c.Has("fixed") {
		r.Fixed = c.Quantity("fixed", dim)
	}
	b := quantity.Bound{Dim: dim}
	switch {
	case c.Has("at_least"):
		b.Kind, b.Low = quantity.AtLeast, c.Quantity("at_least", dim)
	case c.Has("at_most"):
		b.Kind, b.High = quantity.AtMost, c.Quantity("at_most", dim)
	default:
		b.Kind, b.Low, b.High = quantity.Between, c.Quantity("between_low", dim), c.Quantity("between_high", dim)
	}
	return Function{Name: "f", Dim: dim, Ranges: []MeterRange{r}}, b
}
