package rules

import (
	"testing"

	"pgregory.net/rapid"

	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// TestWhatGovernsIsEnough: a reading that meets the bounds that govern meets
// them all, and every bound that does not govern has a like one that does.
func TestWhatGovernsIsEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bounds := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) plan.Bound {
			var b plan.Bound
			b.Kind = rapid.SampledFrom([]quantity.BoundKind{quantity.AtLeast, quantity.AtMost, quantity.MagnitudeAtMost, quantity.Between}).Draw(t, "kind")
			b.Low = float64(rapid.IntRange(-3, 3).Draw(t, "low"))
			b.High = b.Low + float64(rapid.IntRange(0, 3).Draw(t, "width"))
			b.Method = rapid.SampledFrom([]string{"", "m"}).Draw(t, "method")
			b.MinTestCurrent = float64(rapid.IntRange(0, 1).Draw(t, "current"))
			b.Rule = rapid.SampledFrom([]measure.Rule{measure.GuardBand, measure.SimpleAcceptance}).Draw(t, "rule")
			return b
		}), 1, 8).Draw(t, "bounds")
		govern(bounds)
		for x := -4.0; x <= 7; x += 0.5 {
			all, governing := true, true
			for _, b := range bounds {
				all = all && b.Contains(x)
				governing = governing && (!b.Governs || b.Contains(x))
			}
			if all != governing {
				t.Fatalf("%v: all %v, governing %v: %+v", x, all, governing, bounds)
			}
		}
		for _, b := range bounds {
			found := b.Governs
			for _, o := range bounds {
				found = found || o.Governs && likeOf(o) == likeOf(b)
			}
			if !found {
				t.Fatalf("nothing governs for %+v", b)
			}
		}
	})
}
