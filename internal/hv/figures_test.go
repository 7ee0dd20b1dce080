package hv

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/measure/vectortest"
	"hvproof/internal/quantity"
)

func TestCopperVectors(t *testing.T) {
	vectortest.Run(t, vectors, "copper.txt", 5, func(t *testing.T, c *vectortest.Case) {
		r, err := CableResistance(c.Number("mm2")*1e-6, c.Quantity("length", quantity.Metre))
		require.NoError(t, err)
		assert.InEpsilon(t, c.Quantity("resistance", quantity.Ohm), r, 1e-12)
		assert.InDelta(t, c.Number("factor"), CopperTo20(c.Number("celsius")), 0.0005)
	})
	_, err := CableResistance(36e-6, 1)
	require.ErrorContains(t, err, "36 mm² is no cross-section")
	_, err = CableResistance(35e-6, -1)
	require.ErrorContains(t, err, "cannot be -1 m long")
}

func TestInsulationTemperatureVectors(t *testing.T) {
	vectortest.Run(t, vectors, "insulation_temperature.txt", 3, func(t *testing.T, c *vectortest.Case) {
		got := InsulationAt(c.Quantity("measured", quantity.Ohm), c.Number("at"), c.Number("to"))
		assert.InEpsilon(t, c.Quantity("value", quantity.Ohm), got, 1e-12)
	})
}

// Check 6 of the figures: the monitor's setting at 403.2 V is printed as
// 201 600 Ω by a Formula Student team; the test resistor of 250 Ω/V by
// Formula Hybrid EV10.1.2, less the 15 kΩ of the test point.
func TestMonitorSetting(t *testing.T) {
	product := func(a, b string) quantity.Value {
		x, err := quantity.Parse(a)
		require.NoError(t, err)
		y, err := quantity.Parse(b)
		require.NoError(t, err)
		return quantity.Value{SI: x.SI * y.SI, Dim: x.Dim.Mul(y.Dim)}
	}
	setting := product("500 Ω/V", "403.2 V")
	assert.Equal(t, quantity.Ohm, setting.Dim)
	assert.InEpsilon(t, 201600, setting.SI, 1e-12)
	fault := product("250 Ω/V", "403.2 V")
	assert.InEpsilon(t, 100800, fault.SI, 1e-12)
	assert.InEpsilon(t, 85800, fault.SI-15e3, 1e-12)
	// Check 21: a 5 W wirewound part takes 24.5 J in 1 ms and in 1 µs (maker's
	// pulse table, read).
	for power, duration := range map[string]string{"24.5 kW": "1 ms", "24.5 MW": "1 µs"} {
		energy := product(power, duration)
		assert.Equal(t, quantity.Joule, energy.Dim)
		assert.InEpsilon(t, 24.5, energy.SI, 1e-12)
	}
}

// Check 22 of the figures (Kirchhoff, calculated).
func TestPacksInParallel(t *testing.T) {
	idle, back, _ := PacksInParallel(400, 0.080, 397, 0.120, 0)
	assert.InDelta(t, 15.0, idle, 1e-9)
	assert.InDelta(t, -15.0, back, 1e-9)
	one, two, bus := PacksInParallel(400, 0.080, 397, 0.120, 200)
	assert.InDelta(t, 135.0, one, 1e-9)
	assert.InDelta(t, 65.0, two, 1e-9)
	assert.InDelta(t, 389.2, bus, 1e-9)
}

// EN 60903:2003 as in a class table (read); 29 CFR 1910.137 Table I-5 for 6
// months and FSAE 2026 IN.5.1 for 12 (read).
func TestGloves(t *testing.T) {
	assert.NoError(t, GloveFits("00", 400))
	assert.NoError(t, GloveFits("00", 750))
	require.ErrorContains(t, GloveFits("00", 800), "at most 750 V DC")
	assert.NoError(t, GloveFits("0", 800))
	require.ErrorContains(t, GloveFits("5", 10), "no glove class")
	require.Error(t, GloveFits("0", math.NaN()))
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }
	tested, today := day(2026, 8, 20), day(2027, 3, 20) // 7 months
	require.ErrorContains(t, GloveInDate(tested, today, 6), "holds until 2027-02-20")
	assert.NoError(t, GloveInDate(tested, today, 12))
	assert.NoError(t, GloveInDate(tested, day(2027, 2, 20), 6))
	require.Error(t, GloveInDate(today, tested, 12))
}

// A 200 A fuse of the power type breaks from 200 % of its rating (EV fuse
// data sheets, 500 V DC, formula read): 300 A, 150 %, it does not.
func TestFuseBreaks(t *testing.T) {
	require.ErrorContains(t, FuseBreaks(300, 2*200, 20e3), "below the fuse's minimum breaking current of 400 A")
	assert.NoError(t, FuseBreaks(400, 400, 20e3))
	require.ErrorContains(t, FuseBreaks(20001, 400, 20e3), "above the fuse's breaking capacity")
	require.Error(t, FuseBreaks(math.NaN(), 400, 20e3))
}

func TestMethodConversion(t *testing.T) {
	weaker := Estimate{X: 200e3, U: 6e3}
	both, err := BothFromWeaker(weaker, 200.0/300)
	require.NoError(t, err)
	assert.InEpsilon(t, 120e3, both.X, 1e-12)
	assert.InEpsilon(t, 3.6e3, both.U, 1e-12)
	back, err := WeakerFromBoth(both, 200.0/300)
	require.NoError(t, err)
	assert.InEpsilon(t, 200e3, back.X, 1e-12)
	above, err := WeakerFromBoth(Estimate{X: 400e6, U: 12e6, Side: quantity.Above}, 1)
	require.NoError(t, err)
	assert.Equal(t, quantity.Above, above.Side)
	for _, s := range []Split{0, -1, 1.1, Split(math.NaN()), Split(math.Inf(1))} {
		_, err := BothFromWeaker(weaker, s)
		var refused *Contradiction
		require.ErrorAs(t, err, &refused)
		assert.Equal(t, SplitUnknown, refused.Code)
		_, err = WeakerFromBoth(weaker, s)
		require.Error(t, err)
	}
}

// The demo car's whole from its parts: weaker pole 1.557 MΩ with the joined
// parts split evenly, 1.438 to 1.697 MΩ for any split, both poles 1.378 MΩ
// (calculated in the replacement block of its readings).
func TestPredictWhole(t *testing.T) {
	left := Poles{Positive: 1.7e6, Negative: 34.4e6}
	right := Poles{Positive: 820e6, Negative: 899e6}
	got := PredictWhole([]Poles{left, right}, []float64{12.4e6, 48.0e6, 220.4e6})
	assert.InEpsilon(t, 1.557e6, got.WeakerEven, 5e-4)
	assert.InEpsilon(t, 1.438e6, got.WeakerLow, 5e-4)
	assert.InEpsilon(t, 1.697e6, got.WeakerHigh, 5e-4)
	assert.InEpsilon(t, 1.378e6, got.Both, 5e-4)
	// A monitor of 1.2 MΩ ±15 % that is left in is one more part of which only
	// both poles are known: with 1.62 MΩ for the left pack, joined, 642.4 kΩ,
	// 577.6 to 702.0 with the uncertainties of its table (calculated).
	in := PredictWhole(nil, []float64{1.62e6, 400e6, 12.4e6, 48.0e6, 220.4e6, 1.2e6})
	assert.InEpsilon(t, 642.4e3, in.Both, 5e-3)
	assert.InEpsilon(t, 1/(1/got.Both+1/1.2e6), PredictWhole([]Poles{left, right}, []float64{12.4e6, 48.0e6, 220.4e6, 1.2e6}).Both, 1e-12)
	assert.Equal(t, got.WeakerLow, got.PositiveLow)
	assert.InEpsilon(t, got.WeakerHigh, got.PositiveHigh, 1e-12)
	assert.Greater(t, got.NegativeLow, got.PositiveHigh)
}
