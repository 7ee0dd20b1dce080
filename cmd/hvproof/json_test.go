package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// What is printed of a limit is never easier to meet than the limit, what is
// printed of a window or a range never narrower; the noise of binary arithmetic
// is not printed.
func TestLimitsAreRoundedToTheSafeSide(t *testing.T) {
	const x, down, up = 9155.313351498637, 9155.31335149, 9155.3133515
	for kind, want := range map[quantity.BoundKind][2]float64{
		quantity.AtLeast: {up, 0}, quantity.AtMost: {0, down}, quantity.MagnitudeAtMost: {0, down},
		quantity.Between: {up, down}, quantity.Expected: {down, up},
	} {
		d := boundJSON(plan.Bound{Bound: quantity.Bound{Kind: kind, Low: x, High: x, Dim: quantity.Ampere},
			Inputs: []plan.Input{{Name: "a", Lo: x, Hi: x, Dim: quantity.Ampere}}}, "", "")
		for i, q := range []*quantityDocument{d.Low, d.High} {
			if want[i] == 0 {
				assert.Nil(t, q, kind)
				continue
			}
			require.NotNil(t, q, kind)
			assert.Equal(t, want[i], q.Value, kind)
		}
		assert.Equal(t, down, d.Inputs[0].Low.Value)
		assert.Equal(t, up, d.Inputs[0].High.Value)
	}
	q := quantityJSON(201600.00000000003, quantity.Ohm)
	q.within(x)
	b, err := json.Marshal(q)
	require.NoError(t, err)
	assert.Equal(t, `{"value":201600,"unit":"Ω","u":9155.3133515}`, string(b))
}
