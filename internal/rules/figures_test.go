package rules_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/rules"
)

// A limitFigure is a limit's two ends by plain arithmetic, and the limit as a
// person reads it. Source of the printed figures: the project's tables of
// computed values for the two cars.
type limitFigure struct {
	id        string
	dim       quantity.Dim
	low, high float64
	printed   string
}

func TestSandpiperLimits(t *testing.T) {
	const v = 96 * 4.20
	ln := math.Log(v / 60)
	dis := func(r, bleed, c float64) float64 { return 1 / (1/r + 1/bleed) * c * ln }
	checkLimits(t, "sandpiper.yaml", []limitFigure{
		{"isolation_whole", quantity.Ohm, 500 * v, 0, "at least 201.6 kΩ"},
		{"isolation_part", quantity.Ohm, 5 * 500 * v, 0, "at least 1.008 MΩ"},
		{"precharge_tau", quantity.Second, 64.6 * 0.918e-3, 71.4 * 1.122e-3, "expected 59.3 ms to 80.12 ms"},
		{"precharge_energy", quantity.Joule, 0, 900, "at most 900 J"},
		{"discharge_time", quantity.Second, 0, 5, "at most 5 s"},
		{"discharge_window", quantity.Second, dis(1710, 20.9e3, 0.918e-3), dis(1890, 23.1e3, 1.122e-3), "expected 2.764 s to 3.735 s"},
		{"pyro_test_current", quantity.Ampere, 0, 0.010, "at most 10 mA"},
		{"pyro_firing_current", quantity.Ampere, 1.5 * 1.2, 0, "at least 1.8 A"},
		{"pyro_bridge", quantity.Ohm, 1.7 + 0.24, 2.3 + 0.36, "between 1.94 Ω and 2.66 Ω"},
		{"contactor_release_time", quantity.Second, 0, 0.25, "at most 250 ms"},
		{"monitor_response", quantity.Ohm, 500 * v, 0, "at least 201.6 kΩ"},
		{"monitor_test_resistor", quantity.Ohm, 0, 250*v - 15e3, "at most 85.8 kΩ"},
		{"bonding", quantity.Ohm, 0, 0.1, "at most 100 mΩ"},
		{"dead_voltage", quantity.Volt, 0, 60, "magnitude at most 60 V"},
	})
}

func TestOldBessLimits(t *testing.T) {
	const v = 40 * 3.65
	ln := math.Log(v / 60.0)
	checkLimits(t, "old_bess.yaml", []limitFigure{
		{"isolation_whole", quantity.Ohm, 1e6, 0, "at least 1 MΩ"}, // 14.60 kΩ by 100 Ω/V, the shop's 1 MΩ governs
		{"isolation_part", quantity.Ohm, 3 * 100 * v, 0, "at least 43.8 kΩ"},
		{"precharge_tau", quantity.Second, 95 * 3.76e-3, 105 * 5.64e-3, "expected 357.2 ms to 592.2 ms"},
		{"precharge_energy", quantity.Joule, 0, 250, "at most 250 J"},
		{"discharge_time", quantity.Second, 0, 60, "at most 60 s"},
		{"discharge_window", quantity.Second, 9500 * 3.76e-3 * ln, 10500 * 5.64e-3 * ln, "expected 31.76 s to 52.67 s"},
	})
}

func checkLimits(t *testing.T, file string, figures []limitFigure) {
	t.Helper()
	v := car(t, file)
	book := bookOf(t, v, testSets(t)...)
	for _, f := range figures {
		t.Run(f.id, func(t *testing.T) {
			bounds, problems := book.Apply(f.id, v.Env(), f.dim, "")
			require.Empty(t, problems.String())
			b := governing(t, bounds)
			near(t, f.low, b.Low)
			near(t, f.high, b.High)
			assert.Equal(t, f.printed, b.Bound.String())
			assert.NotEmpty(t, b.Formula)
			assert.NotEmpty(t, b.Substituted)
			assert.NotEmpty(t, b.Source)
		})
	}
}

// near compares within the rounding of a few operations; a bound of 0 is not
// used.
func near(t *testing.T, want, got float64) {
	t.Helper()
	assert.InDelta(t, want, got, 1e-9*math.Abs(want))
}

// governing gives the one bound that governs.
func governing(t *testing.T, bounds []plan.Bound) plan.Bound {
	t.Helper()
	var out []plan.Bound
	for _, b := range bounds {
		if b.Governs {
			out = append(out, b)
		}
	}
	require.Len(t, out, 1)
	return out[0]
}

// TestTorqueOfEachJoint: M8 17 N·m ±10 % and M6 9 N·m ±10 %.
func TestTorqueOfEachJoint(t *testing.T) {
	v := car(t, "sandpiper.yaml")
	book := bookOf(t, v, testSets(t)...)
	for joint, want := range map[string][2]float64{"left_plus": {15.3, 18.7}, "right_minus": {8.1, 9.9}} {
		env := formula.Bind(v.Env(), map[string]formula.Item{"joint": {Collection: "joints", Name: joint}})
		bounds, problems := book.Apply("torque", env, quantity.NewtonMetre, "")
		require.Empty(t, problems.String())
		b := governing(t, bounds)
		near(t, want[0], b.Low)
		near(t, want[1], b.High)
	}
	var items []string
	for _, l := range book.All() {
		if l.ID == "torque" {
			items = append(items, l.Item)
			assert.True(t, l.Governs)
		}
	}
	assert.Len(t, items, 10)
	assert.Equal(t, "joints.left_plus", items[0])
}

// TestPyroCurrentFollowsThePart: a part of 50 mA no-fire lowers the limit to
// 5 mA, one of 2 A does not raise it above 10 mA, and the lowest no-fire of a
// tolerance counts.
func TestPyroCurrentFollowsThePart(t *testing.T) {
	for noFire, want := range map[string]float64{"50 mA": 0.005, "2 A": 0.010, "60 mA ±10%": 0.0054} {
		v := carOf(t, "format: 1\nname: X\nassessed_to: [workshop]\npyro: {no_fire: "+noFire+"}\n")
		book, problems := rules.NewBook(testSets(t), v)
		require.False(t, problems.Errors(), problems.String())
		bounds, problems := book.Apply("pyro_test_current", v.Env(), quantity.Ampere, "")
		require.Empty(t, problems.String())
		assert.InDelta(t, want, governing(t, bounds).High, 1e-12, noFire)
	}
}
