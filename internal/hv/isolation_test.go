package hv

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/measure/vectortest"
	"hvproof/internal/quantity"
)

const vectors = "../../testdata/vectors"

// volt gives a reading of the demo car's voltmeter: ±(0.5 % + 2 digits),
// digits of 0.001 V to 6 V, 0.01 V to 60 V, 0.1 V above.
func volt(x float64) Uncertain {
	digit := 0.1
	switch {
	case math.Abs(x) <= 6:
		digit = 0.001
	case math.Abs(x) <= 60:
		digit = 0.01
	}
	return Uncertain{x, 0.005*math.Abs(x) + 2*digit}
}

// left gives the demo car's readings of its left pack.
func left() TwoVoltage {
	return TwoVoltage{VB: volt(362.4), V1: volt(297.2), V2: volt(14.67), VPrime: volt(37.29),
		R0: Uncertain{200e3, 2e3}, R0At: Negative, MeterResistance: 10e6}
}

func TestIsolationVectors(t *testing.T) {
	vectortest.Run(t, vectors, "isolation_two_voltage.txt", 8, func(t *testing.T, c *vectortest.Case) {
		V := quantity.Volt
		m := TwoVoltage{VB: volt(c.Quantity("vb", V)), V1: volt(c.Quantity("v1", V)), V2: volt(c.Quantity("v2", V)),
			VPrime: volt(c.Quantity("v_prime", V)), R0: Uncertain{c.Quantity("r0", quantity.Ohm), 0}, R0At: c.Text("r0_at"),
			MeterResistance: math.Inf(1), Simultaneous: c.Text("meters") == "both"}
		if c.Text("meter") != "ideal" {
			m.MeterResistance = c.Quantity("meter", quantity.Ohm)
		}
		got, err := m.Isolation()
		require.NoError(t, err)
		near := c.Number("tolerance")
		assert.Equal(t, c.Text("pole"), got.Pole)
		weaker := c.Quantity("weaker", quantity.Ohm)
		assert.InEpsilon(t, weaker, got.Weaker.X, near)
		assert.Equal(t, quantity.Exact, got.Weaker.Side)
		assert.Greater(t, got.Weaker.U, 0.0)
		if c.Has("both") {
			assert.InEpsilon(t, c.Quantity("both", quantity.Ohm), got.Both.X, near)
		}
		if c.Has("other") {
			assert.InEpsilon(t, c.Quantity("other", quantity.Ohm), got.Other.X, near)
		}
		if c.Has("per_volt") {
			assert.InEpsilon(t, c.Quantity("per_volt", quantity.OhmPerVolt), got.Weaker.X/m.VB.X, near)
		}
	})
}

// The ratio form R0·(V2′/V1′ − V2/V1) of check 3 of the figures (patent
// wording), with V2′ 250 V, and the FMVSS 305 form (from memory) give what
// the formula of UN R100 gives.
func TestOtherFormsAgree(t *testing.T) {
	const r0, v1, v2, v1p, v2p = 200e3, 240.0, 160.0, 150.0, 250.0
	got, err := TwoVoltage{VB: volt(400), V1: volt(v1), V2: volt(v2), VPrime: volt(v1p), R0: Uncertain{X: r0}, R0At: Negative, MeterResistance: math.Inf(1)}.Isolation()
	require.NoError(t, err)
	assert.InEpsilon(t, r0*(v2p/v1p-v2/v1), got.Weaker.X, 1e-12)
	assert.InEpsilon(t, r0*(1+v2/v1)*(v1-v1p)/v1p, got.Weaker.X, 1e-12)
}

// Check 4 of the figures: without the correction the same readings give
// 666 667 Ω, on the low side.
func TestLoadingErrsLow(t *testing.T) {
	const raw = 2e6 / 3
	assert.InEpsilon(t, 2e6, unload(raw, 1e6), 1e-12)
	assert.Less(t, raw, 2e6)
	assert.True(t, math.IsInf(unload(1e6, 1e6), 1))
}

func TestIsolationRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*TwoVoltage)
		code   string
		look   string
	}{
		"V1′ above V1":             {func(m *TwoVoltage) { m.VPrime = volt(310) }, RisesWithR0, "can only fall"},
		"V1 + V2 above V_b":        {func(m *TwoVoltage) { m.V2 = volt(146.7) }, SumAboveSource, "lost decimal point"},
		"V1 above V_b":             {func(m *TwoVoltage) { m.V1 = volt(400) }, SumAboveSource, "more than V_b"},
		"V2 too small":             {func(m *TwoVoltage) { m.V1, m.V2 = volt(200), volt(9.9) }, SumDisagrees, "monitor still connected"},
		"V′ read wrong":            {func(m *TwoVoltage) { m.VPrime = volt(3.729) }, SumDisagrees, "give or take"},
		"R0 ten times as large":    {func(m *TwoVoltage) { m.R0 = Uncertain{2e6, 20e3} }, SumDisagrees, "the wrong R0"},
		"meter of 1 MΩ":            {func(m *TwoVoltage) { m.MeterResistance = 1e6 }, SumDisagrees, "wrong meter"},
		"two meters, sum too low":  {func(m *TwoVoltage) { m.Simultaneous = true }, SumDisagrees, "give or take"},
		"R0 on the wrong pole":     {func(m *TwoVoltage) { m.R0At = Positive }, WrongPole, "put R0 between chassis and the negative pole"},
		"V1 and V2 swapped":        {func(m *TwoVoltage) { m.V1, m.V2 = m.V2, m.V1 }, WrongPole, "were swapped"},
		"no pole":                  {func(m *TwoVoltage) { m.R0At = "" }, UnknownPole, "say negative or positive"},
		"V′ nought":                {func(m *TwoVoltage) { m.VPrime = volt(0) }, ZeroReading, "a lead that has come off"},
		"both poles nought":        {func(m *TwoVoltage) { m.V1, m.V2 = volt(0), volt(0) }, ZeroReading, "open lead"},
		"V_b nought":               {func(m *TwoVoltage) { m.VB = volt(0) }, ZeroReading, "is it connected"},
		"V_b negative":             {func(m *TwoVoltage) { m.VB = volt(-362.4) }, NegativeReading, "polarity"},
		"V1 negative":              {func(m *TwoVoltage) { m.V1 = volt(-297.2) }, NegativeReading, "V1 is negative"},
		"V2 negative":              {func(m *TwoVoltage) { m.V2 = volt(-14.67) }, NegativeReading, "V2 is negative"},
		"V′ negative":              {func(m *TwoVoltage) { m.VPrime = volt(-37.29) }, NegativeReading, "V′ is negative"},
		"NaN":                      {func(m *TwoVoltage) { m.V1.X = math.NaN() }, NotANumber, "V1"},
		"infinity":                 {func(m *TwoVoltage) { m.VB.X = math.Inf(1) }, NotANumber, "V_b"},
		"uncertainty NaN":          {func(m *TwoVoltage) { m.V2.U = math.NaN() }, NotANumber, "V2"},
		"uncertainty negative":     {func(m *TwoVoltage) { m.VPrime.U = -1 }, NotANumber, "V′"},
		"uncertainty infinite":     {func(m *TwoVoltage) { m.R0.U = math.Inf(1) }, NotANumber, "R0"},
		"no R0":                    {func(m *TwoVoltage) { m.R0 = Uncertain{} }, NoResistor, "measure R0"},
		"R0 negative":              {func(m *TwoVoltage) { m.R0.X = -200e3 }, NoResistor, "measure R0"},
		"meter unknown":            {func(m *TwoVoltage) { m.MeterResistance = 0 }, NoMeterData, "data sheet"},
		"meter's resistance NaN":   {func(m *TwoVoltage) { m.MeterResistance = math.NaN() }, NoMeterData, "data sheet"},
		"V_b below its own digits": {func(m *TwoVoltage) { m.VB = Uncertain{0.001, 0.002} }, ZeroReading, "is it connected"},
	} {
		t.Run(name, func(t *testing.T) {
			m := left()
			_, err := m.Isolation()
			require.NoError(t, err)
			c.change(&m)
			got, err := m.Isolation()
			var refused *Contradiction
			require.ErrorAs(t, err, &refused)
			assert.Equal(t, c.code, refused.Code, err.Error())
			assert.Contains(t, err.Error(), c.look)
			assert.NotEmpty(t, refused.Look)
			assert.Equal(t, IsolationResult{}, got)
		})
	}
}

func TestIsolationWarns(t *testing.T) {
	codes := func(m TwoVoltage) []string {
		got, err := m.Isolation()
		require.NoError(t, err)
		var out []string
		for _, w := range got.Warnings {
			out = append(out, w.Code)
			assert.NotEmpty(t, w.Sentence)
		}
		return out
	}
	assert.Empty(t, codes(left()))

	far := left()
	far.Required = 1.008e6
	assert.Equal(t, []string{ResistorUnusual}, codes(far))
	far.Required = 201.6e3
	assert.Empty(t, codes(far))

	low := read(circuitOf{vb: 362, inner: 1.7e6, own: 34e6, meter: 1e6, r0: 200e3})
	assert.Equal(t, []string{MeterLow}, codes(low))

	large := read(circuitOf{vb: 362, inner: 10e3, own: 1e6, meter: 10e6, r0: 200e3})
	assert.Contains(t, codes(large), ResistorUnusual)

	// A dead short of one pole to chassis: R0 changes nothing. It is no
	// contradiction, and it is next to nought.
	short := read(circuitOf{vb: 362, inner: 1e-3, own: 1e6, meter: 10e6, r0: 200e3})
	assert.Equal(t, []string{ResistorNoEffect}, codes(short)[:1])
	got, err := short.Isolation()
	require.NoError(t, err)
	assert.Less(t, got.Weaker.X+got.Weaker.U, 10e3)
}

// Where V′ nears its last digit, the result must become coarse, then a lower
// end, and never claim more than was shown.
func TestIsolationNearTheLastDigit(t *testing.T) {
	right := TwoVoltage{VB: volt(361.7), V1: volt(4.31), V2: volt(3.93), VPrime: volt(0.086), R0: Uncertain{200e3, 2e3}, R0At: Negative, MeterResistance: 10e6}
	fine, err := right.Isolation()
	require.NoError(t, err)
	assert.Equal(t, quantity.Exact, fine.Weaker.Side)
	assert.Less(t, fine.Weaker.U, 0.06*fine.Weaker.X)

	right.VPrime = Uncertain{0.09, 0.0205} // read on the range of 0.01 V
	coarse, err := right.Isolation()
	require.NoError(t, err)
	assert.Equal(t, quantity.Exact, coarse.Weaker.Side)
	assert.Greater(t, coarse.Weaker.U, 0.2*coarse.Weaker.X)
	assert.Equal(t, CoarseResult, coarse.Warnings[0].Code)

	right.VPrime = Uncertain{0.1, 0.2005} // on the range of 0.1 V
	one, err := right.Isolation()
	require.NoError(t, err)
	assert.Equal(t, quantity.Above, one.Weaker.Side)
	assert.Equal(t, quantity.Above, one.Both.Side)
	assert.False(t, math.IsInf(one.Weaker.X, 0))
	// V′ may be 0.3005 V: 200 kΩ · 361.7 V · (1/0.3005 − 1/4.31) = 223.9 MΩ
	assert.InEpsilon(t, 223.9e6, one.Weaker.X, 1e-3)
	assert.Less(t, one.Weaker.Low(), 223.9e6)
	assert.Greater(t, one.Weaker.Low(), 200e6)
	assert.Equal(t, CoarseResult, one.Warnings[0].Code)
}

func TestOtherPoleWithoutVoltage(t *testing.T) {
	m := left()
	m.V1, m.V2, m.VPrime = volt(309.7), Uncertain{0, 0.002}, Uncertain{37.6, 0.2}
	got, err := m.Isolation()
	require.NoError(t, err)
	assert.Equal(t, quantity.Above, got.Other.Side)
	assert.Greater(t, got.Other.Low(), 1e9)
	assert.Equal(t, quantity.Exact, got.Both.Side)
	assert.InEpsilon(t, got.Weaker.X, got.Both.X, 1e-9)

	m.V2.U = 0
	got, err = m.Isolation()
	require.NoError(t, err)
	assert.True(t, math.IsInf(got.Other.X, 1))
	assert.Equal(t, 0.0, got.Other.U)
}

// Two nearly equal poles: whichever R0 stands at, the weaker one comes out.
func TestEqualPoles(t *testing.T) {
	for _, at := range []string{Negative, Positive} {
		m := read(circuitOf{vb: 362, inner: 1.001e6, own: 1e6, meter: 10e6, r0: 200e3, at: at})
		got, err := m.Isolation()
		require.NoError(t, err)
		assert.InEpsilon(t, 1e6, got.Weaker.X, 1e-9)
		assert.InEpsilon(t, 1.001e6, got.Other.X, 1e-9)
		assert.Equal(t, at, got.Pole)
	}
}

// A circuitOf is a true circuit: inner is the pole opposite to R0.
type circuitOf struct {
	vb, inner, own, meter, r0 float64
	simultaneous              bool
	at                        string
}

// read gives the readings of a circuit without error, by Kirchhoff's laws
// and not by the formulas under test.
func read(c circuitOf) TwoVoltage {
	if c.at == "" {
		c.at = Negative
	}
	loadOwn, loadInner := parallel(c.own, c.meter), parallel(c.inner, c.meter)
	across := func(r, rest float64) float64 { return c.vb * r / (r + rest) }
	a, b := across(loadOwn, c.inner), across(loadInner, c.own)
	prime := across(parallel(loadOwn, c.r0), c.inner)
	if c.simultaneous {
		a, b = across(loadOwn, loadInner), across(loadInner, loadOwn)
		prime = across(parallel(loadOwn, c.r0), loadInner)
	}
	m := TwoVoltage{VB: volt(c.vb), V1: volt(a), V2: volt(b), VPrime: volt(prime),
		R0: Uncertain{c.r0, 0.01 * c.r0}, R0At: c.at, MeterResistance: c.meter, Simultaneous: c.simultaneous}
	if c.at == Positive {
		m.V1, m.V2 = m.V2, m.V1
	}
	return m
}

func drawCircuit(t *rapid.T) circuitOf {
	exp := func(lo, hi float64, label string) float64 {
		return math.Exp(rapid.Float64Range(math.Log(lo), math.Log(hi)).Draw(t, label))
	}
	inner := exp(5e3, 1e8, "inner")
	return circuitOf{
		vb: exp(60, 800, "V_b"), inner: inner, own: inner * exp(1.01, 300, "own"),
		meter: exp(1e6, 1e8, "meter"), r0: exp(5e4, 1e6, "R0"),
		simultaneous: rapid.Bool().Draw(t, "simultaneous"),
		at:           rapid.SampledFrom([]string{Negative, Positive}).Draw(t, "at"),
	}
}

func TestExactReadingsGiveTheCircuit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := drawCircuit(t)
		got, err := read(c).Isolation()
		if err != nil {
			t.Fatalf("%+v refused: %v", c, err)
		}
		// Rounding is magnified where a meter is far below the isolation.
		near := 1e-9 * (1 + c.own/c.meter)
		if got.Weaker.Side == quantity.Exact && math.Abs(got.Weaker.X/c.inner-1) > near {
			t.Fatalf("weaker %g, want %g", got.Weaker.X, c.inner)
		}
		if got.Both.Side == quantity.Exact && math.Abs(got.Both.X/parallel(c.inner, c.own)-1) > near {
			t.Fatalf("both %g, want %g", got.Both.X, parallel(c.inner, c.own))
		}
		if got.Weaker.Low() > c.inner {
			t.Fatalf("%g is claimed, the circuit has %g", got.Weaker.Low(), c.inner)
		}
		if got.Pole == c.at {
			t.Fatalf("pole %s", got.Pole)
		}
	})
}

// Monte Carlo check of the propagation (in the manner of JCGM 101): true
// circuits are read with errors anywhere within the half-widths. The true
// value must lie within U at least 95 times in 100 (k = 2), and a value
// above the true one may be claimed in no more than 2.5. Readings within
// their half-widths must not be refused.
func TestMonteCarlo(t *testing.T) {
	const draws = 4000
	for name, c := range map[string]circuitOf{
		"left":           {vb: 362.4, inner: 1.7e6, own: 34.4e6, meter: 10e6, r0: 200e3},
		"right":          {vb: 361.7, inner: 820e6, own: 899e6, meter: 10e6, r0: 200e3},
		"whole":          {vb: 362.2, inner: 411.8e3, own: 12.03e6, meter: 10e6, r0: 200e3},
		"repaired":       {vb: 362.4, inner: 66e6, own: 92e6, meter: 10e6, r0: 200e3},
		"at its limit":   {vb: 403.2, inner: 201.6e3, own: 500e3, meter: 10e6, r0: 200e3},
		"bad":            {vb: 362.4, inner: 20e3, own: 1e6, meter: 10e6, r0: 200e3},
		"both meters":    {vb: 400, inner: 2e6, own: 3e6, meter: 10e6, r0: 200e3, simultaneous: true},
		"positive pole":  {vb: 400, inner: 150e3, own: 900e3, meter: 10e6, r0: 200e3, at: Positive},
		"on its digits":  {vb: 60, inner: 400e6, own: 500e6, meter: 10e6, r0: 200e3},
		"even":           {vb: 362.4, inner: 1e6, own: 1.0001e6, meter: 10e6, r0: 200e3},
		"48 V, low HV":   {vb: 48, inner: 1e6, own: 5e6, meter: 10e6, r0: 200e3},
		"large resistor": {vb: 362.4, inner: 5e6, own: 8e6, meter: 11e6, r0: 2e6},
	} {
		t.Run(name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(2027, 3))
			off := func(u Uncertain) Uncertain {
				return Uncertain{u.X + u.U*(2*random.Float64()-1), u.U}
			}
			within, above, refused := 0, 0, 0
			for range draws {
				m := read(c)
				m.VB, m.V1, m.V2, m.VPrime, m.R0 = off(m.VB), off(m.V1), off(m.V2), off(m.VPrime), off(m.R0)
				got, err := m.Isolation()
				var contradiction *Contradiction
				if errors.As(err, &contradiction) {
					refused++
					continue
				}
				require.NoError(t, err)
				truth := math.Min(c.inner, c.own)
				if got.Weaker.Low() > truth {
					above++
				}
				if got.Weaker.Low() <= truth && (got.Weaker.Side == quantity.Above || truth <= got.Weaker.X+got.Weaker.U) {
					within++
				}
			}
			t.Logf("within %.2f %%, claimed too much %.2f %%, refused %.2f %%", 100*float64(within)/draws, 100*float64(above)/draws, 100*float64(refused)/draws)
			assert.GreaterOrEqual(t, float64(within), 0.95*float64(draws-refused))
			assert.LessOrEqual(t, float64(above), 0.025*draws)
			assert.LessOrEqual(t, float64(refused), 0.001*draws)
		})
	}
}

func FuzzIsolation(f *testing.F) {
	f.Add(362.4, 297.2, 14.67, 37.29, 200e3, 10e6, true, false, 0.005)
	f.Add(361.7, 4.31, 3.93, 0.086, 200e3, 10e6, true, false, 0.005)
	f.Add(400.0, 57.142857, 342.857143, 208.695652, 200e3, math.Inf(1), false, true, 0.0)
	f.Fuzz(func(t *testing.T, vb, v1, v2, prime, r0, meter float64, negative, simultaneous bool, u float64) {
		at := Positive
		if negative {
			at = Negative
		}
		of := func(x float64) Uncertain { return Uncertain{x, math.Abs(x) * u} }
		got, err := TwoVoltage{VB: of(vb), V1: of(v1), V2: of(v2), VPrime: of(prime), R0: of(r0), R0At: at, MeterResistance: meter, Simultaneous: simultaneous}.Isolation()
		var refused *Contradiction
		if err != nil {
			require.ErrorAs(t, err, &refused)
			return
		}
		for _, e := range []Estimate{got.Weaker, got.Both} {
			if math.IsNaN(e.X) || math.IsNaN(e.U) || e.U < 0 || e.X < 0 {
				t.Fatalf("%+v", got)
			}
		}
		if got.Both.X > got.Weaker.X*(1+1e-9) && got.Weaker.Side == quantity.Exact {
			t.Fatalf("both poles in parallel are more than one: %+v", got)
		}
	})
}
