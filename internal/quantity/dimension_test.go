package quantity_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

func TestDim(t *testing.T) {
	assert.Equal(t, quantity.Volt, quantity.Ohm.Mul(quantity.Ampere))
	assert.Equal(t, quantity.Second, quantity.Ohm.Mul(quantity.Farad))
	assert.Equal(t, quantity.OhmPerVolt, quantity.Ohm.Div(quantity.Volt))
	assert.Equal(t, quantity.Ohm, quantity.OhmPerVolt.Mul(quantity.Volt))
	assert.Equal(t, quantity.Joule, quantity.Volt.Pow(2).Mul(quantity.Farad))
	assert.Equal(t, quantity.Joule, quantity.AmpereSquareSecond.Mul(quantity.Ohm))
	assert.Equal(t, quantity.Joule, quantity.NewtonMetre.Mul(quantity.Radian))
	assert.Equal(t, quantity.One, quantity.Volt.Pow(0))
	assert.NotEqual(t, quantity.Joule, quantity.NewtonMetre)
	assert.Equal(t, "V²", quantity.Volt.Pow(2).String())
	assert.Equal(t, "A/V", quantity.Ohm.Pow(-1).String())
	assert.Equal(t, "W/K", quantity.Watt.Div(quantity.Kelvin).String())
	assert.Equal(t, "1", quantity.One.String())
	assert.Equal(t, "kg²·m¹²⁷", quantity.Dim{Mass: 2, Length: 127}.String())

	for _, u := range []string{"V", "A", "Ω", "F", "s", "J", "W", "K", "Hz", "C", "m", "N·m", "Ω/V"} {
		d, err := quantity.ParseUnit(u)
		require.NoError(t, err)
		name, listed := d.Unit()
		assert.Equal(t, u, name)
		assert.True(t, listed, u)
	}
	name, listed := quantity.One.Unit()
	assert.Equal(t, "1", name)
	assert.True(t, listed)
	_, listed = quantity.Volt.Pow(2).Unit()
	assert.False(t, listed)
}

// No product that is too large can come round to a dimension that is right.
func TestDimOverflow(t *testing.T) {
	d := quantity.One
	for range 1000 {
		d = d.Mul(quantity.Volt)
	}
	assert.False(t, d.Valid())
	for range 1000 {
		d = d.Div(quantity.Volt)
	}
	assert.False(t, d.Valid())
	assert.False(t, quantity.Volt.Pow(1<<62).Valid())
	assert.False(t, quantity.Volt.Pow(-1<<63).Valid())
	assert.Equal(t, quantity.One, quantity.One.Pow(1<<62))
	assert.NotEqual(t, quantity.One, d)
	assert.Equal(t, "a power beyond 127", d.String())

	rapid.Check(t, func(t *rapid.T) {
		a := quantity.Dim{Mass: rapid.Int8().Draw(t, "a"), Time: rapid.Int8().Draw(t, "t")}
		b := quantity.Dim{Mass: rapid.Int8().Draw(t, "b"), Time: rapid.Int8().Draw(t, "u")}
		if p := a.Mul(b); p.Valid() {
			require.Equal(t, int(a.Mass)+int(b.Mass), int(p.Mass))
			require.Equal(t, int(a.Time)+int(b.Time), int(p.Time))
		}
	})
}
