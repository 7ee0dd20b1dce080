package formula

import (
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// exactly computes with 2,400 bits, enough for any sum or product of float64.
func exactly(x float64) *big.Float { return new(big.Float).SetPrec(2400).SetFloat64(x) }

// TestDirectedRounding compares with big.Float: the results are the float64
// next to the exact one, on the right side, or the exact one itself.
func TestDirectedRounding(t *testing.T) {
	number := rapid.OneOf(
		rapid.Float64Range(-1e6, 1e6), rapid.Float64Range(-1e-300, 1e-300), rapid.Float64Range(-1e300, 1e300),
		rapid.SampledFrom([]float64{0, 1, -1, 0.1, 3, math.SmallestNonzeroFloat64, math.MaxFloat64, 0x1p-1022, 0x1p-960}),
	)
	var a, b float64
	sides := func(rt *rapid.T, op string, exact *big.Float, lo, hi float64) {
		if math.IsInf(hi, 0) || math.IsInf(lo, 0) {
			return // overflow: Eval refuses it
		}
		if exactly(lo).Cmp(exact) > 0 || exactly(hi).Cmp(exact) < 0 {
			rt.Fatalf("%s: %v … %v does not hold %v", op, lo, hi, exact)
		}
		if f, _ := exact.Float64(); min(math.Abs(f), math.Abs(a), math.Abs(b)) > 1e-280 && hi > math.Nextafter(lo, math.Inf(1)) {
			rt.Fatalf("%s: %v … %v is wider than needed", op, lo, hi)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		a, b = number.Draw(rt, "a"), number.Draw(rt, "b")
		sides(rt, "+", new(big.Float).SetPrec(2400).Add(exactly(a), exactly(b)), addDown(a, b), addUp(a, b))
		sides(rt, "*", new(big.Float).SetPrec(2400).Mul(exactly(a), exactly(b)), mulDown(a, b), mulUp(a, b))
		if b != 0 {
			sides(rt, "/", new(big.Float).SetPrec(2400).Quo(exactly(a), exactly(b)), divDown(a, b), divUp(a, b))
		}
		if a >= 0 {
			sides(rt, "sqrt", new(big.Float).SetPrec(2400).Sqrt(exactly(a)), sqrtDown(a), sqrtUp(a))
		}
	})
}

// Exactly representable results are not rounded away: 90 · 0.1 needs 9 below.
func TestRoundingKeepsExactResults(t *testing.T) {
	require.Equal(t, 0.75, addDown(0.5, 0.25))
	require.Equal(t, 0.75, addUp(0.5, 0.25))
	require.Equal(t, 6.0, mulDown(2, 3))
	require.Equal(t, 6.0, mulUp(2, 3))
	require.Equal(t, 9.0, mulDown(90, 0.1))
	require.Equal(t, math.Nextafter(9, 10), mulUp(90, 0.1))
	require.Equal(t, 2.5, divDown(5, 2))
	require.Equal(t, 2.5, divUp(5, 2))
	require.Equal(t, 3.0, sqrtDown(9))
	require.Equal(t, 3.0, sqrtUp(9))
	require.Equal(t, interval{0, 4}, interval{-2, 1}.square())
	require.Equal(t, interval{-2, 4}, interval{-2, 1}.mul(interval{-2, 1}))
	require.Equal(t, interval{}, interval{}.mul(entire))
}
