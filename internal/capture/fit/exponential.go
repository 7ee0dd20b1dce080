package fit

import (
	"math"
)

// ModelFactor is by how much a relative systematic misfit can falsify a time
// constant: a second, slower branch that leaves 0.25 % of the gap in the
// residuals moves Tau by 10 % (the two-branch circuits of the tests).
const ModelFactor = 40

// An Exponential is y(t) = End − Gap·exp(−(t−Origin)/Tau) with what is known
// of its accuracy. Errors are standard errors; a Quantum… field is a hard
// half-width on top of it.
type Exponential struct {
	End, Gap, Tau float64
	Origin        float64 // s, the first sample fitted
	Until         float64 // s, the last sample fitted
	N             int     // known samples fitted

	EndSE, GapSE, TauSE float64
	TauQuantum          float64 // s
	EndQuantum          float64

	RMS        float64 // of the residuals
	Lag1       float64 // correlation of neighbouring residuals, −1 to 1
	Systematic float64 // RMS of what the residuals have in common with their neighbours, beyond noise
	Quantum    float64 // step of the converter as seen in the samples, 0 if none shows

	cov  [3][3]float64 // of End, Gap, ln Tau
	bins []bin
}

// At gives the curve at t.
func (e Exponential) At(t float64) float64 {
	return e.End - e.Gap*math.Exp(-(t-e.Origin)/e.Tau)
}

// Slope gives the curve's slope at t.
func (e Exponential) Slope(t float64) float64 {
	return e.Gap / e.Tau * math.Exp(-(t-e.Origin)/e.Tau)
}

// AtSE gives the standard error of At(t), and the half-width that an
// unblurred quantisation adds.
func (e Exponential) AtSE(t float64) (se, quantum float64) {
	x := math.Exp(-(t - e.Origin) / e.Tau)
	return e.functional([3]float64{1, -x, -e.Gap * x * (t - e.Origin) / e.Tau})
}

// When gives the time at which the curve, also before Origin or after Until,
// has the level y, with its standard error and half-width from quantisation;
// ok is false if it never has. ySE is the standard error of the level.
func (e Exponential) When(y, ySE float64) (t, se, quantum float64, ok bool) {
	rest := (e.End - y) / e.Gap
	if !(rest > 0) || math.IsInf(rest, 0) {
		return 0, 0, 0, false
	}
	l := math.Log(rest)
	t = e.Origin - e.Tau*l
	d := e.End - y
	se, quantum = e.functional([3]float64{-e.Tau / d, e.Tau / e.Gap, -e.Tau * l})
	se = math.Hypot(se, e.Tau/d*ySE)
	ok = !math.IsNaN(t+se) && !math.IsInf(t+se, 0)
	return t, se, quantum, ok
}

// Fits reports whether the residuals are what noise and quantisation leave.
func (e Exponential) Fits() bool {
	return e.Systematic <= math.Max(1e-3*math.Abs(e.Gap), 0.5*e.Quantum)
}

// Spans gives the number of time constants fitted.
func (e Exponential) Spans() float64 { return (e.Until - e.Origin) / e.Tau }

// Change gives how much of the change from the first to the end level is in
// the samples fitted, 0 to 1.
func (e Exponential) Change() float64 { return 1 - math.Exp(-e.Spans()) }

// functional gives the standard error of a linear combination of End, Gap
// and ln Tau, and the largest error that quantisation can give it.
func (e Exponential) functional(c [3]float64) (se, quantum float64) {
	v := 0.0
	for i := range c {
		for j := range c {
			v += c[i] * e.cov[i][j] * c[j]
		}
	}
	se = math.Sqrt(math.Max(0, v))
	if e.TauSE > 0 && e.Systematic > 0 { // what a misfit does to Tau it does to all
		se = math.Hypot(se, math.Abs(c[2])*e.misfit()/2)
	}
	if e.Systematic > 0.5*e.Quantum {
		se = math.Hypot(se, c[0]*e.Systematic)
	}
	return se, e.quantumOf(c)
}

// misfit gives the relative half-width that a systematic misfit adds to Tau.
func (e Exponential) misfit() float64 {
	if e.Gap == 0 || e.Systematic <= 0.5*e.Quantum {
		return 0
	}
	return ModelFactor * e.Systematic / math.Abs(e.Gap)
}

// unblurred gives how much of the error of quantisation the noise leaves: the
// first harmonic of the error falls by exp(−2π²σ²/q²) (Widrow's theorem).
func (e Exponential) unblurred() float64 {
	if e.Quantum == 0 {
		return 0
	}
	q2 := e.Quantum * e.Quantum
	noise := e.RMS*e.RMS - e.Systematic*e.Systematic - q2/12
	if noise <= 0 {
		return 1
	}
	return math.Min(1, 2*math.Exp(-2*math.Pi*math.Pi*noise/q2))
}

// positions is the number of positions of the converter's steps tried.
const positions = 32

// quantumOf gives the largest error that a converter of this step gives the
// combination on this curve, over positions of its steps, and a quarter more.
func (e Exponential) quantumOf(c [3]float64) float64 {
	left := e.unblurred()
	if left < 1e-3 {
		return 0
	}
	m, _, ok := normal(e.bins, e.Gap, e.Tau, e.Origin)
	if !ok {
		return 0
	}
	w, ok := solve(m, c)
	if !ok {
		return 0
	}
	var sum [positions]float64
	for _, b := range e.bins {
		j := gradient(b.t, e.Gap, e.Tau, e.Origin)
		weight := b.n * (w[0]*j[0] + w[1]*j[1] + w[2]*j[2])
		level := e.At(b.t) / e.Quantum
		for k := range sum {
			x := level + float64(k)/positions
			sum[k] += weight * (math.Round(x) - x)
		}
	}
	worst := 0.0
	for _, x := range sum {
		worst = math.Max(worst, math.Abs(x))
	}
	return 1.25 * left * e.Quantum * worst
}

// gradient gives the derivatives of y(t) by End, Gap, ln Tau.
func gradient(t, gap, tau, origin float64) [3]float64 {
	u := (t - origin) / tau
	x := math.Exp(-u)
	return [3]float64{1, -x, -gap * x * u}
}

// normal gives the normal matrix over bins and the number of samples.
func normal(bs []bin, gap, tau, origin float64) (m [3][3]float64, n float64, ok bool) {
	for _, b := range bs {
		j := gradient(b.t, gap, tau, origin)
		for p := range j {
			for q := range j {
				m[p][q] += b.n * j[p] * j[q]
			}
		}
		n += b.n
	}
	return m, n, n > 3
}

// Fit fits one exponential to all known samples. Errors: ErrFew, ErrFlat,
// ErrFast, ErrStraight.
func Fit(s Samples) (Exponential, error) {
	return fitWith(s, s.Quantum())
}

// fitWith is Fit with the converter's step known.
func fitWith(s Samples, quantum float64) (Exponential, error) {
	bs := bins(s)
	if len(bs) < 8 {
		return Exponential{}, ErrFew
	}
	tau, _ := search(bs)
	if !(tau > 0) {
		return Exponential{}, ErrFlat
	}
	a, b, _ := project(bs, tau, 0)
	e := Exponential{End: a, Gap: -b, Tau: tau, Origin: bs[0].t, Until: s.T(len(s.Y) - 1), Quantum: quantum, bins: bs}
	span := e.Until - e.Origin
	if !e.refine(s) {
		return Exponential{}, ErrStraight
	}
	if !(e.Tau < 15*span) {
		return Exponential{}, ErrStraight
	}
	if !e.examine(s) {
		return Exponential{}, ErrStraight
	}
	if e.Gap == 0 || e.gain() < 30 {
		return Exponential{}, ErrFlat
	}
	if e.Tau < bs[1].t-bs[0].t {
		return Exponential{}, ErrFast
	}
	return e, nil
}

// gain gives by how much the exponential explains the samples better than
// their mean, in units of the variance left: about 1 by chance for each of
// its two further parameters, more for the time constant chosen.
func (e *Exponential) gain() float64 {
	mid, total := middle(e.bins), 0.0
	for _, b := range e.bins {
		d := e.At(b.t) - mid
		total += b.n * d * d
	}
	return total / (e.RMS*e.RMS + 1e-300)
}

// refine runs Levenberg-Marquardt over all samples.
func (e *Exponential) refine(s Samples) bool {
	lambda := 1e-6
	m, g, rss := e.accumulate(s)
	for range 25 {
		damped := m
		for i := range 3 {
			damped[i][i] *= 1 + lambda
		}
		d, ok := solve(damped, g)
		if !ok {
			return false
		}
		next := *e
		next.End += d[0]
		next.Gap += d[1]
		next.Tau *= math.Exp(math.Max(-1, math.Min(1, d[2])))
		nm, ng, nrss := next.accumulate(s)
		if !(nrss <= rss) {
			if lambda *= 100; lambda > 1e6 {
				break
			}
			continue
		}
		small := math.Abs(d[2]) < 1e-10 || rss-nrss <= 1e-12*rss
		e.End, e.Gap, e.Tau = next.End, next.Gap, next.Tau
		m, g, rss = nm, ng, nrss
		lambda = math.Max(1e-12, lambda/100)
		if small {
			break
		}
	}
	return !math.IsNaN(e.Tau) && !math.IsInf(e.Tau, 0) && e.Tau > 0
}

// chunk is the number of samples over which powers of one factor stand for
// exponentials: their error stays below 1e-13.
const chunk = 256

// accumulate gives the normal matrix, the gradient and the sum of squares.
func (e *Exponential) accumulate(s Samples) (m [3][3]float64, g [3]float64, rss float64) {
	q := math.Exp(-s.Step / e.Tau)
	var n, sx, sxx, sz, szz, sxz, r0, rx, rz float64
	x := 0.0
	for i, y := range s.Y {
		var t float64
		if s.Times != nil {
			t = s.Times[i]
			x = math.Exp(-(t - e.Origin) / e.Tau)
		} else {
			t = s.Start + float64(i)*s.Step
			if i%chunk == 0 {
				x = math.Exp(-(t - e.Origin) / e.Tau)
			} else {
				x *= q
			}
		}
		r := y - e.End + e.Gap*x
		if r != r {
			continue
		}
		z := x * (t - e.Origin)
		n++
		sx += x
		sxx += x * x
		sz += z
		szz += z * z
		sxz += x * z
		r0 += r
		rx += r * x
		rz += r * z
		rss += r * r
	}
	k := -e.Gap / e.Tau
	m = [3][3]float64{{n, -sx, k * sz}, {-sx, sxx, -k * sxz}, {k * sz, -k * sxz, k * k * szz}}
	return m, [3]float64{r0, -rx, k * rz}, rss
}

// examine fills in errors and residual statistics.
func (e *Exponential) examine(s Samples) bool {
	m, _, rss := e.accumulate(s)
	e.N = int(m[0][0])
	if e.N < 8 {
		return false
	}
	inv, ok := invert(m)
	if !ok {
		return false
	}
	e.residuals(s, rss)
	v := rss / float64(e.N-3)
	f := inflation(e.Lag1, e.N)
	for i := range inv {
		for j := range inv {
			e.cov[i][j] = inv[i][j] * v * f * f
		}
	}
	e.EndSE, e.EndQuantum = e.functional([3]float64{1, 0, 0})
	e.GapSE, _ = e.functional([3]float64{0, 1, 0})
	e.TauSE = 1 // functional adds the misfit only to a fitted Tau
	se, quantum := e.functional([3]float64{0, 0, 1})
	e.TauSE, e.TauQuantum = se*e.Tau, quantum*e.Tau
	for _, x := range []float64{e.EndSE, e.GapSE, e.TauSE, e.End, e.Gap, e.TauQuantum} {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

// residuals fills in RMS, Lag1 and Systematic.
func (e *Exponential) residuals(s Samples, rss float64) {
	e.RMS = math.Sqrt(rss / float64(e.N))
	var sum, count [40]float64
	groups := min(len(sum), e.N/2)
	var cross, last float64
	first, seen := true, 0
	q := math.Exp(-s.Step / e.Tau)
	x := 0.0
	for i, y := range s.Y {
		t := s.T(i)
		if s.Times != nil || i%chunk == 0 {
			x = math.Exp(-(t - e.Origin) / e.Tau)
		} else {
			x *= q
		}
		r := y - e.End + e.Gap*x
		if r != r {
			continue
		}
		if !first {
			cross += r * last
		}
		first, last = false, r
		k := seen * groups / e.N
		sum[k] += r
		count[k]++
		seen++
	}
	if rss > 0 {
		e.Lag1 = math.Max(-1, math.Min(1, cross/rss))
	}
	// What neighbouring groups have in common is misfit; noise, of whatever
	// colour, has forgotten itself from one group to the next.
	var own, common float64
	for k := range groups {
		sum[k] /= count[k]
		own += sum[k] * sum[k]
		if k > 0 {
			common += sum[k] * sum[k-1]
		}
	}
	if common > 3.5*own/math.Sqrt(float64(groups)) {
		e.Systematic = math.Sqrt(common / float64(groups-1))
	}
}
