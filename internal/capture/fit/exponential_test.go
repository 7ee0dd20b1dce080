package fit_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/capture/fit"
)

// curve makes n samples of f from start in steps of dt, with white noise of
// standard deviation sd, rounded to steps of lsb (0: not).
func curve(n int, start, dt float64, f func(float64) float64, sd, lsb float64, seed uint64) fit.Samples {
	r := rand.New(rand.NewPCG(seed, 7))
	s := fit.Samples{Start: start, Step: dt, Y: make([]float64, n)}
	for i := range s.Y {
		y := f(s.T(i)) + sd*r.NormFloat64()
		if lsb > 0 {
			y = lsb * math.Round(y/lsb)
		}
		s.Y[i] = y
	}
	return s
}

func charge(end, tau float64) func(float64) float64 {
	return func(t float64) float64 { return end * -math.Expm1(-t/tau) }
}

// The circuits of the trial of fits against ngspice: 100.001 Ω and 20 kΩ on
// 1 mF, that is τ = 99.50348 ms and 398.0099 V. The wrong one has a second,
// slower branch: a fit with R² = 0.99993 and a time constant 10 % wrong.
func TestFitKnownCircuits(t *testing.T) {
	const tau, end = 99.50348e-3, 398.0099
	two := func(t float64) float64 {
		return 0.9*end*-math.Expm1(-t/tau) + 0.1*end*-math.Expm1(-t/(3*tau))
	}
	for _, c := range []struct {
		name    string
		f       func(float64) float64
		n       int
		sd, lsb float64
		within  float64 // of tau, relative
		fits    bool
	}{
		{"clean", charge(end, tau), 12000, 0, 0, 1e-6, true},
		{"noise 0.8 V", charge(end, tau), 12000, 0.8, 0, 1e-3, true},
		{"noise and 8 bit", charge(end, tau), 12000, 0.8, 2, 1e-3, true},
		{"8 bit without noise", charge(end, tau), 12000, 0, 2, 5e-3, true},
		{"1.5 time constants", charge(end, tau), 1500, 0.8, 0, 1e-2, true},
		{"second slow branch", two, 12000, 0.2, 0, 0, false},
		{"second slow branch, 8 bit", two, 12000, 0.5, 2, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			e, err := fit.Fit(curve(c.n, 0, 1e-4, c.f, c.sd, c.lsb, 1))
			require.NoError(t, err)
			t.Logf("τ %.4f ms ± %.4f ± %.4f, end %.3f ± %.3f, lag-1 %.2f, rms %.3f, systematic %.4f, quantum %.3f",
				e.Tau*1e3, e.TauSE*1e3, e.TauQuantum*1e3, e.End, e.EndSE, e.Lag1, e.RMS, e.Systematic, e.Quantum)
			assert.Equal(t, c.fits, e.Fits())
			if c.fits {
				assert.InEpsilon(t, tau, e.Tau, c.within)
				assert.LessOrEqual(t, math.Abs(e.Tau-tau), 3*e.TauSE+e.TauQuantum+1e-9)
			}
		})
	}
}

// 95 % intervals of a thousand noisy recordings cover the truth in 92 to 98 %.
func TestFitCoverage(t *testing.T) {
	const runs, tau, end = 1000, 0.1, 400.0
	var inTau, inEnd, inLate int
	for i := range runs {
		s := curve(1000+i, 0, 5e-4, charge(end, tau), 2, 0, uint64(i))
		e, err := fit.Fit(s)
		require.NoError(t, err)
		if math.Abs(e.Tau-tau) <= 1.96*e.TauSE {
			inTau++
		}
		if math.Abs(e.End-end) <= 1.96*e.EndSE {
			inEnd++
		}
		se, _ := e.AtSE(0.25)
		if math.Abs(e.At(0.25)-charge(end, tau)(0.25)) <= 1.96*se {
			inLate++
		}
		require.True(t, e.Fits(), "run %d: %+v", i, e.Systematic)
	}
	t.Logf("coverage: τ %.1f %%, end %.1f %%, level at 2.5 τ %.1f %%", float64(inTau)/10, float64(inEnd)/10, float64(inLate)/10)
	for _, n := range []int{inTau, inEnd, inLate} {
		assert.GreaterOrEqual(t, n, 920)
		assert.LessOrEqual(t, n, 980)
	}
}

// Noise through a scope's filter: neighbours go together, and the interval
// must grow.
func TestFitCoverageOfCorrelatedNoise(t *testing.T) {
	const runs, tau, end = 300, 0.1, 400.0
	in := 0
	for i := range runs {
		s := curve(2000, 0, 5e-4, charge(end, tau), 0, 0, 0)
		r := rand.New(rand.NewPCG(uint64(i), 3))
		x := 0.0
		for k := range s.Y {
			x = 0.8*x + r.NormFloat64()
			s.Y[k] += x
		}
		e, err := fit.Fit(s)
		require.NoError(t, err)
		require.True(t, e.Fits())
		if math.Abs(e.Tau-tau) <= 1.96*e.TauSE {
			in++
		}
	}
	assert.GreaterOrEqual(t, in, 276) // 92 %
}

func TestFitRefuses(t *testing.T) {
	for _, c := range []struct {
		name string
		s    fit.Samples
		want error
	}{
		{"nothing", fit.Samples{Step: 1}, fit.ErrFew},
		{"seven samples", curve(7, 0, 0.1, charge(1, 1), 0, 0, 0), fit.ErrFew},
		{"all unknown", curve(100, 0, 0.1, func(float64) float64 { return math.NaN() }, 0, 0, 0), fit.ErrFew},
		{"a straight line", curve(500, 0, 0.01, func(t float64) float64 { return 3 * t }, 0.01, 0, 1), fit.ErrStraight},
		{"noise about a level", curve(5000, 0, 0.01, func(float64) float64 { return 400 }, 1, 0, 1), fit.ErrFlat},
	} {
		_, err := fit.Fit(c.s)
		assert.ErrorIs(t, err, c.want, c.name)
	}
	_, err := fit.Fit(curve(500, 0, 0.01, func(float64) float64 { return 400 }, 0, 0, 1))
	assert.Error(t, err, "a constant")
}

// Whatever the scales, the time constant comes out.
func TestFitAnyScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tau := math.Pow(10, rapid.Float64Range(-5, 3).Draw(t, "log tau"))
		end := rapid.Float64Range(-1000, 1000).Draw(t, "end")
		gap := math.Pow(10, rapid.Float64Range(-1, 3).Draw(t, "log gap"))
		spans := rapid.Float64Range(2, 30).Draw(t, "spans")
		n := rapid.IntRange(200, 4000).Draw(t, "n")
		s := curve(n, rapid.Float64Range(-5, 5).Draw(t, "start")*tau, spans*tau/float64(n),
			func(x float64) float64 { return end - gap*math.Exp(-x/tau) }, 0, 0, 1)
		e, err := fit.Fit(s)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if math.Abs(e.Tau/tau-1) > 1e-4 {
			t.Fatalf("tau %g, want %g", e.Tau, tau)
		}
	})
}

func FuzzFit(f *testing.F) {
	f.Add(100, 1.0, 0.1, 0.01, uint64(1), uint8(0))
	f.Add(30, 1e300, 1e-300, 0.0, uint64(1), uint8(1))
	f.Add(5000, 400.0, 1e9, 5.0, uint64(9), uint8(2))
	f.Fuzz(func(t *testing.T, n int, end, tau, sd float64, seed uint64, odd uint8) {
		n = max(0, min(n, 20000))
		s := curve(n, 0, 1e-3, charge(end, tau), sd, 0, seed)
		if odd&1 != 0 {
			for i := range s.Y {
				if i%3 == 0 {
					s.Y[i] = math.NaN()
				}
			}
		}
		if odd&2 != 0 {
			s.Times = make([]float64, n)
			for i := range s.Times {
				s.Times[i] = float64(i / 4)
			}
		}
		e, err := fit.Fit(s)
		if err != nil {
			return
		}
		for _, x := range []float64{e.End, e.Gap, e.Tau, e.EndSE, e.GapSE, e.TauSE, e.RMS, e.Lag1, e.Systematic, e.TauQuantum, e.EndQuantum} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("not a number in %+v", e)
			}
		}
	})
}

func BenchmarkFitMillion(b *testing.B) {
	s := curve(1_000_000, 0, 1e-6, charge(400, 0.1), 0.8, 2, 1)
	for b.Loop() {
		if _, err := fit.Fit(s); err != nil {
			b.Fatal(err)
		}
	}
}
