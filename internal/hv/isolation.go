package hv

import (
	"fmt"
	"math"

	"hvproof/internal/quantity"
)

// The poles of a source.
const (
	Positive = "positive"
	Negative = "negative"
)

// MeterTolerance is the part by which a voltmeter's resistance may differ
// from what its data say. Common practice, no source: makers state a nominal
// value only.
const MeterTolerance = 0.05

// LeastMeterResistance is what UN R100, 1.2.2, asks of the voltmeter, Ω.
const LeastMeterResistance = 10e6

// TwoVoltage holds the readings of the two-voltage method.
type TwoVoltage struct {
	VB     Uncertain // V, of the source
	V1     Uncertain // V, negative pole to chassis, as a magnitude
	V2     Uncertain // V, positive pole to chassis
	VPrime Uncertain // V, at the pole with R0, with R0 in place
	R0     Uncertain // Ω

	R0At string // Negative or Positive

	MeterResistance float64 // Ω, of the voltmeter; +Inf for an ideal one
	// Simultaneous: a meter stays on each pole during all readings. False:
	// one meter is moved from pole to pole.
	Simultaneous bool

	// Required is the least resistance asked for, Ω; 0 if unknown. R0 is best
	// chosen near it.
	Required float64
}

// An IsolationResult is what the two-voltage method gives.
type IsolationResult struct {
	Weaker Estimate // Ω, the weaker pole to chassis
	Pole   string   // which one that is
	Other  Estimate // Ω, the other pole; X is +Inf where its voltage is nought
	// Both is both poles in parallel, Ω: what a tester that joins the poles
	// and an isolation monitor see. Never compare it with Weaker.
	Both     Estimate
	Warnings []Warning
}

// Isolation computes the resistance of the weaker pole to chassis. Readings
// that contradict each other give a *Contradiction.
func (t TwoVoltage) Isolation() (IsolationResult, error) {
	if err := t.usable(); err != nil {
		return IsolationResult{}, err
	}
	c := t.circuit()
	if err := t.consistent(c); err != nil {
		return IsolationResult{}, err
	}
	in := c.inputs()
	var res IsolationResult
	res.Weaker = propagate(in, func(x []float64) float64 { i, o := c.poles(x); return math.Min(i, o) })
	res.Both = propagate(in, func(x []float64) float64 { i, o := c.poles(x); return parallel(i, o) })
	pole := func(x []float64) float64 { _, o := c.poles(x); return o }
	res.Pole = opposite(t.R0At)
	if i, o := c.poles(c.values()); o < i {
		res.Pole = t.R0At
		pole = func(x []float64) float64 { i, _ := c.poles(x); return i }
	}
	res.Other = propagate(in, pole)
	res.Warnings = t.warnings(c, res)
	return res, nil
}

func opposite(pole string) string {
	if pole == Negative {
		return Positive
	}
	return Negative
}

// A circuit names the readings by R0's place: a at its pole, b at the other.
type circuit struct {
	vb, a, b, prime, r0, meter Uncertain
	simultaneous               bool
}

func (t TwoVoltage) circuit() circuit {
	c := circuit{vb: t.VB, a: t.V1, b: t.V2, prime: t.VPrime, r0: t.R0, simultaneous: t.Simultaneous}
	if t.R0At == Positive {
		c.a, c.b = t.V2, t.V1
	}
	c.meter = Uncertain{X: t.MeterResistance}
	if !math.IsInf(t.MeterResistance, 1) {
		c.meter.U = MeterTolerance * t.MeterResistance
	}
	return c
}

func (c circuit) inputs() []Uncertain { return []Uncertain{c.vb, c.a, c.b, c.prime, c.r0, c.meter} }

func (c circuit) values() []float64 {
	var x []float64
	for _, u := range c.inputs() {
		x = append(x, u.X)
	}
	return x
}

// poles gives the resistance of the pole opposite to R0 and of R0's own
// pole. Values that no circuit has count as the nearest that one has: no
// voltage left is an infinite resistance, no fall by R0 is none.
func (c circuit) poles(x []float64) (inner, own float64) {
	vb, a, b, prime, r0, meter := x[0], x[1], x[2], x[3], x[4], x[5]
	switch {
	case prime <= 0:
		inner = math.Inf(1)
	case prime >= a:
		inner = 0
	default:
		inner = r0 * vb * (1/prime - 1/a)
	}
	own = math.Inf(1)
	if b > 0 && !math.IsInf(inner, 1) {
		own = inner * math.Max(a, 0) / b
	}
	if c.simultaneous {
		inner, own = unload(inner, meter), unload(own, meter)
	}
	return inner, own
}

// unload takes a meter out of a resistance that was read with the meter in
// parallel (form of ISO 6469-1 and GB 18384, from memory).
func unload(raw, meter float64) float64 {
	g := 1/raw - 1/meter
	if g <= 0 {
		return math.Inf(1)
	}
	return 1 / g
}

// sum gives V1 + V2 as the other readings have it.
func (c circuit) sum(x []float64) float64 {
	if c.simultaneous {
		return x[0]
	}
	inner, own := c.poles(x)
	meter, both := x[5], parallel(inner, own)
	switch {
	case math.IsInf(meter, 1):
		return x[0]
	case math.IsInf(both, 1):
		return 0
	}
	return x[0] * meter / (meter + both)
}

// usable refuses what nothing can be computed from.
func (t TwoVoltage) usable() error {
	named := []struct {
		name string
		u    Uncertain
	}{{"V_b", t.VB}, {"V1", t.V1}, {"V2", t.V2}, {"V′", t.VPrime}, {"R0", t.R0}}
	for _, n := range named {
		if !n.u.valid() {
			return &Contradiction{NotANumber, n.name + " or its uncertainty is not a number", "read it again"}
		}
	}
	for _, n := range named[:4] {
		if n.u.X < 0 {
			return &Contradiction{NegativeReading, fmt.Sprintf("%s is negative (%s)", n.name, volts(n.u.X)),
				"look at the meter's polarity: V_b is plus to minus, V1 chassis to minus, V2 plus to chassis; swap nothing before you know why"}
		}
	}
	switch {
	case t.R0.X <= t.R0.U:
		return &Contradiction{NoResistor, "R0 has no known value above nought", "measure R0 or read its marking"}
	case t.R0At != Negative && t.R0At != Positive:
		return &Contradiction{UnknownPole, fmt.Sprintf("%q is no pole of R0", t.R0At), "say negative or positive"}
	case !(t.MeterResistance > 0):
		return &Contradiction{NoMeterData, "the voltmeter's resistance is not known, so the readings cannot be checked against each other", "its input resistance stands in its data sheet, often 10 MΩ"}
	case t.VB.X <= t.VB.U:
		return &Contradiction{ZeroReading, "V_b is nought within its uncertainty", "the method needs the source's voltage: is it connected, are the contactors closed?"}
	case t.VPrime.X == 0:
		return &Contradiction{ZeroReading, "V′ reads nought: nothing can be computed from it", "look for a lead that has come off, prove the meter, and read on its lowest range; an R0 that is larger raises V′"}
	case math.Max(t.V1.X, t.V2.X) == 0:
		return &Contradiction{ZeroReading, "both poles read nought to chassis", "prove the meter, look for an open lead or a chassis clip on paint"}
	}
	return nil
}

// consistent refuses readings that cannot all be true.
func (t TwoVoltage) consistent(c circuit) error {
	want, larger, smaller := Negative, t.V1, t.V2
	if t.V2.X > t.V1.X {
		want, larger, smaller = Positive, t.V2, t.V1
	}
	if t.R0At != want && larger.X-smaller.X > larger.U+smaller.U {
		return &Contradiction{WrongPole,
			fmt.Sprintf("R0 is at the %s pole, but the %s one has the larger voltage to chassis (%s against %s)", t.R0At, want, volts(larger.X), volts(smaller.X)),
			"put R0 between chassis and the " + want + " pole and read V′ there; or V1 and V2 were swapped"}
	}
	if c.prime.X-c.a.X > c.prime.U+c.a.U {
		return &Contradiction{RisesWithR0,
			fmt.Sprintf("the voltage at the %s pole rose from %s to %s when R0 was added, and it can only fall", t.R0At, volts(c.a.X), volts(c.prime.X)),
			"look whether V′ was read at the pole with R0, whether the readings had settled, and whether a monitor is still connected"}
	}
	total := c.a.X + c.b.X
	if over := total - c.vb.X; over > c.a.U+c.b.U+c.vb.U {
		return &Contradiction{SumAboveSource,
			fmt.Sprintf("V1 and V2 together are %s, more than V_b, %s", volts(total), volts(c.vb.X)),
			"look for a reading at the wrong point, a lost decimal point, or a second source"}
	}
	expected := c.sum(c.values())
	changes, _ := contributions(c.inputs(), c.values(), func(x []float64) float64 { return x[1] + x[2] - c.sum(x) })
	room := 0.0
	for _, change := range changes {
		room += change
	}
	if off := math.Abs(total - expected); !(off <= room) {
		return &Contradiction{SumDisagrees,
			fmt.Sprintf("V1 and V2 together are %s, but with V_b, V′, R0 and a meter of %s they should be %s, give or take %s", volts(total), ohms(t.MeterResistance), volts(expected), volts(room)),
			"look for a monitor still connected, a voltage not settled, the wrong R0, the wrong meter or range, or a slip in one of the readings"}
	}
	return nil
}

// warnings gives what does not contradict but is worth a look.
func (t TwoVoltage) warnings(c circuit, res IsolationResult) []Warning {
	var w []Warning
	if fall := c.a.X - c.prime.X; fall <= c.a.U+c.prime.U {
		w = append(w, Warning{ResistorNoEffect, fmt.Sprintf("R0 lowered the voltage by no more than the readings' uncertainty: the %s pole is close to chassis, or R0 was not connected", opposite(t.R0At))})
	} else if t.R0.X > 10*res.Weaker.X {
		w = append(w, Warning{ResistorUnusual, fmt.Sprintf("R0 (%s) is more than ten times the isolation: it hardly changes the voltage", ohms(t.R0.X))})
	}
	if t.Required > 0 && math.Abs(t.R0.X-t.Required) > 0.2*t.Required {
		w = append(w, Warning{ResistorUnusual, fmt.Sprintf("R0 (%s) is not within 20 %% of the isolation asked for (%s), as UN R100 advises; the result holds for any R0", ohms(t.R0.X), ohms(t.Required))})
	}
	switch {
	case res.Weaker.Side == quantity.Above:
		w = append(w, Warning{CoarseResult, "the readings are too close to the meter's last digit to give a value: only that the isolation is above " + ohms(math.Max(0, res.Weaker.Low()))})
	case res.Weaker.U > res.Weaker.X/4:
		w = append(w, Warning{CoarseResult, fmt.Sprintf("the uncertainty of the result is %s: a lower range of the meter, or a larger R0, would help", ohms(res.Weaker.U))})
	}
	if t.MeterResistance < LeastMeterResistance {
		w = append(w, Warning{MeterLow, fmt.Sprintf("the voltmeter has %s; UN R100 asks for at least 10 MΩ", ohms(t.MeterResistance))})
	}
	return w
}

func volts(x float64) string { return quantity.Value{SI: x, Dim: quantity.Volt}.String() }

func ohms(x float64) string {
	if math.IsInf(x, 1) {
		return "infinite resistance"
	}
	return quantity.Value{SI: x, Dim: quantity.Ohm}.String()
}
