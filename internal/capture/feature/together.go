package feature

import (
	"math"

	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// KindTogether is a pre-charge and a discharge of one link, judged together.
const KindTogether = "precharge_and_discharge"

// constant is a time constant that stands for one resistor and one capacitor:
// R·C, s, with its uncertainty. The zero value is none.
type constant struct{ tau, u float64 }

func (c constant) known() bool { return c.tau > 0 }

// Together judges a pre-charge and a discharge of one link. Each has a time
// constant of the same capacitance and another resistor, so their ratio is
// that of the resistors, and the car's data tell which part is not as drawn:
// pre-charge resistor, capacitance, or what discharges the link. A part is
// blamed alone only where all else as drawn explains both. car may be nil:
// then only the ratio is given.
//
// Findings of the two about the same parts, made by one time constant alone,
// are superseded by this one's; Superseded tells which.
func Together(pre, dis *Analysis, car *Car) *Analysis {
	if car == nil {
		car = &Car{}
	}
	a := &analyst{car: car, out: &Analysis{Kind: KindTogether}}
	p, d := pre.rc, dis.rc
	switch {
	case !p.known():
		a.note("The pre-charge gives no time constant of one resistor and one capacitor: the two cannot be judged together.")
		return a.out
	case !d.known():
		a.note("The discharge gives no time constant of one resistor and one capacitor: the two cannot be judged together.")
		return a.out
	}
	ratio := p.tau / d.tau
	a.feature("resistance_ratio", quantity.One, ratio, ratio*measure.Combine(p.u/p.tau, d.u/d.tau))
	r, c, rd := car.Resistance, car.Capacitance, car.DischargeResistance
	if stated(rd) {
		a.implied("capacitance", quantity.Farad, d.tau, d.u, rd)
		x := ratio * rd.Nominal
		lo, hi := times(rd, within1(p.over(d)))
		a.feature("resistance", quantity.Ohm, x, math.Max(hi-x, x-lo))
	}
	if stated(r) && stated(c) && stated(rd) {
		a.blame(p, d)
	} else {
		a.note("The car's data do not give pre-charge resistor, capacitance and discharge resistor all three: which part differs cannot be said.")
	}
	return a.out
}

// Superseded reports whether a finding of one capture alone is answered by
// judging two together, where that gave an answer.
func (a *Analysis) Superseded(code string) bool {
	_, ratio := a.Feature("resistance_ratio")
	_, apart := a.Feature("resistance")
	return ratio && apart && (code == "resistor-differs" || code == "capacitance-differs")
}

// over gives the least and the greatest ratio of two time constants.
func (c constant) over(d constant) (lo, hi float64) {
	return (c.tau - c.u) / (d.tau + d.u), (c.tau + c.u) / math.Max(d.tau-d.u, 1e-3*d.tau)
}

func within1(lo, hi float64) quantity.Range { return quantity.Range{Lo: lo, Hi: hi} }

// times gives the least and the greatest product of two positive ranges.
func times(x, y quantity.Range) (lo, hi float64) { return x.Lo * y.Lo, x.Hi * y.Hi }

// by gives the least and the greatest partner of a part: τ = R·C.
func (c constant) by(part quantity.Range) (lo, hi float64) {
	return (c.tau - c.u) / part.Hi, (c.tau + c.u) / part.Lo
}

// implied gives the partner of a part of the car as a feature.
func (a *analyst) implied(name string, dim quantity.Dim, tau, u float64, by quantity.Range) {
	x := tau / by.Nominal
	a.feature(name, dim, x, measure.Combine(u/by.Nominal, math.Max(tau/by.Lo-x, x-tau/by.Hi)))
}

// blame says which part is not as drawn.
func (a *analyst) blame(p, d constant) {
	r, c, rd := a.car.Resistance, a.car.Capacitance, a.car.DischargeResistance
	preFits, disFits := p.fits(r, c), d.fits(rd, c)
	if preFits && disFits && a.common(p, d) {
		return
	}
	// What the capacitance is by each, all resistors as drawn.
	pLo, pHi := p.by(r)
	dLo, dHi := d.by(rd)
	lo, hi := math.Max(pLo, dLo), math.Min(pHi, dHi)
	onlyC := lo <= hi
	const dead = "Measure it, dead and locked off."
	rLo, rHi := times(rd, within1(p.over(d)))
	resistor := func() {
		a.find("resistor-differs", "The pre-charge resistor is %s, not %s%s: by the discharge the capacitance is %s, as drawn (%s), so it is not the capacitance. Read its marking. %s",
			span(rLo, rHi, quantity.Ohm), span(r.Lo, r.Hi, quantity.Ohm), preferred(p.tau/d.tau*rd.Nominal, rLo, rHi),
			span(dLo, dHi, quantity.Farad), span(c.Lo, c.Hi, quantity.Farad), dead)
	}
	capacitance := func() {
		a.find("capacitance-differs", "The link's capacitance is %s, not %s: pre-charge and discharge both say so, by different resistors. Look for a capacitor that is not connected, or one more than drawn.",
			span(lo, hi, quantity.Farad), span(c.Lo, c.Hi, quantity.Farad))
	}
	switch {
	case disFits && onlyC && !preFits:
		resistor()
		a.find("capacitance-differs", "Or the capacitance is %s, a little beyond %s: the tolerances of the resistors leave both open. Measure the pre-charge resistor, dead and locked off; that decides.",
			span(lo, hi, quantity.Farad), span(c.Lo, c.Hi, quantity.Farad))
	case disFits && !preFits:
		resistor()
	case onlyC:
		capacitance()
	case preFits && !disFits:
		cLo, cHi := math.Max(pLo, c.Lo), math.Min(pHi, c.Hi)
		a.find("resistor-differs", "What discharges the link is %s, not %s: by the pre-charge the capacitance is as drawn (%s). Look at the discharge resistor, its connections, and what else is across the link. %s",
			span((d.tau-d.u)/cHi, (d.tau+d.u)/cLo, quantity.Ohm), span(rd.Lo, rd.Hi, quantity.Ohm), span(cLo, cHi, quantity.Farad), dead)
	default:
		a.find("resistor-differs", "No single part explains both: by the pre-charge and the drawn %s resistor the capacitance is %s, by the discharge and what is drawn there %s; drawn is %s. At least one resistor differs, and perhaps the capacitance. Measure both resistors, dead and locked off.",
			span(r.Lo, r.Hi, quantity.Ohm), span(pLo, pHi, quantity.Farad), span(dLo, dHi, quantity.Farad), span(c.Lo, c.Hi, quantity.Farad))
	}
}

// fits reports whether two parts as drawn make the time constant.
func (c constant) fits(r, cap quantity.Range) bool {
	lo, hi := times(r, cap)
	return overlaps(quantity.Range{Lo: lo, Hi: hi}, c.tau-c.u, c.tau+c.u)
}

// common reports whether one capacitance within the drawn tolerance makes both
// time constants, all resistors as drawn.
func (a *analyst) common(p, d constant) bool {
	pLo, pHi := p.by(a.car.Resistance)
	dLo, dHi := d.by(a.car.DischargeResistance)
	c := a.car.Capacitance
	return math.Max(math.Max(pLo, dLo), c.Lo) <= math.Min(math.Min(pHi, dHi), c.Hi)
}
