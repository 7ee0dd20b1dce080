package feature

import (
	"math"

	"hvproof/internal/capture/fit"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// bounce is the time within which a contactor that bounces has settled, s
// Own choice, no source: longer than the contacts of contactors of this size
// bounce, shorter than a second attempt.
const bounce = 0.05

// reference finds the pack's voltage at the end of pre-charge, and the level
// that pre-charge tends to. Own choice, no source: two channels of one point
// differ by less than 5 % (scope ±3 %, probe ±2 %), and 1 % is worth a note.
// A level is told from half a time constant on; less than one and a half with
// more than a tenth of doubt is none.
func (p *rise) reference() {
	s := p.link.s
	end := s.T0(min(p.end, s.Len()-1))
	if p.pack != nil {
		p.v, p.vU, p.vKnown = p.pack.at(end)
	}
	if p.jump != nil {
		level, u, ok := p.settled()
		near := !p.vKnown || math.Abs(level-p.v) < 0.05*math.Abs(p.v)
		if ok && near {
			if p.vKnown && math.Abs(level-p.v) > 0.01*math.Abs(p.v) {
				p.note("After closing the link reads %s and the pack %s, which are then one point: the two channels differ by %s.", volts(level), volts(p.v), volts(level-p.v))
			}
			p.v, p.vU, p.vKnown, p.vSame = level, u, true, true
		}
	}
	if p.lastOK && p.last.Spans() > 0.5 {
		p.plateau, p.platU, p.platOK = p.last.End, measure.Combine(2*p.last.EndSE, p.last.EndQuantum), true
	}
	if p.lastOK && p.last.Spans() < 1.5 && p.platU > 0.1*math.Abs(p.plateau) {
		p.platOK = false
	}
}

// settled gives the link's level after the closing and its bounces.
func (p *rise) settled() (y, u float64, ok bool) {
	s := p.link.s
	from := p.after + 2
	limit := s.Index(p.tc + bounce)
	size := 0.3 * math.Abs(p.jump.Jump)
	if all := fit.Transitions(s, p.after-2, limit, size); len(all) > 1 {
		from = all[len(all)-1] + 2
	}
	to := s.Index(s.T0(min(from, s.Len()-1)) + bounce)
	to = max(to, from+20)
	for _, b := range p.breaks {
		if b.I > from+3 && b.I < to {
			to = b.I - 1
			break
		}
	}
	if from >= s.Len()-1 {
		from = max(p.after, s.Len()-2)
	}
	return p.link.level(from, min(to, s.Len()))
}

// before gives the link's voltage just before closing.
func (p *rise) before() (y, u float64, ok bool) {
	if p.lastOK && p.last.Fits() {
		y = p.last.At(p.tc)
		se, q := p.last.AtSE(p.tc)
		between := p.last.Slope(p.tc) * p.link.s.Interval() / 2 // it closed somewhere between two samples
		return y, measure.Combine(2*se, q, between), true
	}
	if p.jump != nil {
		level, lu, ok := p.settled()
		return level - p.jump.Jump, measure.Combine(lu, 2*p.jump.JumpSE, p.link.step()), ok
	}
	n := 9
	y, u, ok = p.link.level(max(p.ramp.From, p.end-n), p.end)
	return y, u, ok
}

// versus gives the uncertainty of a voltage of the link over the pack's: what
// the samples leave, and what the instruments do. By one channel only an
// offset counts.
func (p *rise) versus(y, u float64) float64 {
	part := y / p.v
	own := []float64{u / p.v, part * p.vU / p.v}
	if p.vSame {
		return measure.Combine(append(own, p.link.rating(p.v)*math.Abs(1-part)/p.v)...)
	}
	return measure.Combine(append(own, p.link.rating(y)/p.v, part*p.pack.rating(p.v)/p.v)...)
}

// numbers gives the features.
func (p *rise) numbers() {
	base := p.ramp.Base
	if p.ramp.Seen {
		p.feature("start_voltage", quantity.Volt, base, measure.Combine(2*p.ramp.BaseSE, p.link.step(), p.link.rating(base)))
	}
	if p.t0Seen {
		p.feature("t0", quantity.Second, p.t0, p.timeU(p.t0U, 0))
		p.mark(p.t0, base, "start")
	}
	if p.ok {
		p.feature("tau", quantity.Second, p.first.Tau, p.tauU())
	}
	if p.platOK {
		p.feature("end_voltage", quantity.Volt, p.plateau, measure.Combine(p.platU, p.link.rating(p.plateau)))
	}
	if p.vKnown {
		t := p.link
		if !p.vSame {
			t = p.pack
		}
		p.feature("pack_voltage", quantity.Volt, p.v, measure.Combine(p.vU, t.rating(p.v)))
		p.out.Picture.Levels = append(p.out.Picture.Levels, Level{p.v, "pack " + volts(p.v)})
	}
	p.closing()
	p.reached("t90", 0.90)
	p.reached("t95", 0.95)
	p.load()
	p.implied()
	p.measured()
}

func (p *rise) tauU() float64 {
	return measure.Combine(2*p.first.TauSE, p.first.TauQuantum, p.link.clock*p.first.Tau)
}

// timeU adds to the uncertainty of a time what the clock and the file's
// resolution of time leave.
func (p *rise) timeU(u, length float64) float64 {
	digit := 0.0
	if ax := p.link.ch.Axis; ax != nil {
		digit = ax.Digit / 2
	}
	return measure.Combine(u, p.link.clock*length, digit)
}

// closing gives what happened when the main contactor closed.
func (p *rise) closing() {
	if !p.closes {
		return
	}
	y, u, ok := p.before()
	if !ok {
		return
	}
	dt := p.link.s.Interval()
	p.feature("closing", quantity.Second, p.tc, p.timeU(dt/2, p.tc-p.t0))
	p.mark(p.tc, y, "main contactor closes")
	if !p.vKnown {
		return
	}
	p.feature("fraction_at_close", quantity.One, y/p.v, p.versus(y, u))
	missing := p.v - y
	missU := measure.Combine(u, p.vU, p.link.gain()*math.Abs(missing))
	if !p.vSame {
		missU = measure.Combine(u, p.vU, p.link.rating(y), p.pack.rating(p.v))
	}
	p.feature("volts_missing", quantity.Volt, missing, missU)
	switch {
	case p.vSame:
		p.feature("step_at_close", quantity.Volt, missing, missU)
	case p.jump == nil: // nothing to be seen: below what would have been
		after, au, ok := p.link.level(p.after+1, p.after+20)
		if ok {
			p.feature("step_at_close", quantity.Volt, after-y, measure.Combine(u, au, p.link.gain()*math.Abs(after-y)))
		}
	default:
		p.feature("step_at_close", quantity.Volt, p.jump.Jump, measure.Combine(2*p.jump.JumpSE, p.link.step(), p.link.gain()*math.Abs(p.jump.Jump)))
	}
}

// reached gives the time from the start to a part of the pack's voltage.
func (p *rise) reached(name string, part float64) {
	if !p.vKnown || !p.t0Seen {
		return
	}
	level := part * p.v
	var t, u float64
	slope := 0.0
	if p.knee == nil && p.ok && p.first.Fits() {
		at, se, q, ok := p.first.When(level, p.vU/2*part)
		if !ok {
			p.note("%s of the pack's voltage is not reached by pre-charge.", percent(part))
			return
		}
		t, u, slope = at, measure.Combine(2*se, q), p.first.Slope(at)
	} else {
		at, se, ok := fit.Crossing(p.link.s.Slice(0, p.end), p.ramp.From, level, true)
		if !ok {
			p.note("%s of the pack's voltage is not reached by pre-charge.", percent(part))
			return
		}
		t, u = at, 2*se
		if p.lastOK {
			slope = p.last.Slope(at)
		}
	}
	if end := p.link.s.T0(min(p.end, p.link.s.Len()-1)); t > end {
		p.note("%s of the pack's voltage is not reached before pre-charge ends.", percent(part))
		return
	}
	if slope > 0 {
		u = measure.Combine(u, p.versus(level, 0)*p.v/slope)
	}
	p.feature(name, quantity.Second, t-p.t0, p.timeU(measure.Combine(u, p.t0U), t-p.t0))
	p.out.Picture.Levels = append(p.out.Picture.Levels, Level{level, percent(part)})
}

// resistance gives the pre-charge resistor: as measured, or the car's.
func (p *rise) resistance() (quantity.Range, bool) {
	return p.car.Resistance, stated(p.car.Resistance)
}

// load gives the current that something took during pre-charge, and the
// energy in the resistor.
func (p *rise) load() {
	if p.current != nil && p.vKnown {
		if i, u, ok := p.current.level(max(p.ramp.From, p.end-max(9, (p.end-p.ramp.From)/20)), p.end-1); ok && p.lastOK && p.last.Spans() > 4 {
			p.feature("load_current", quantity.Ampere, i, measure.Combine(u, p.current.rating(i)))
		}
	}
	r, ok := p.resistance()
	if !ok || !p.vKnown {
		return
	}
	tol := (r.Hi - r.Lo) / 2 / r.Nominal
	if _, have := p.out.Feature("load_current"); !have && p.platOK {
		i := (p.v - p.plateau) / r.Nominal
		p.feature("load_current", quantity.Ampere, i, measure.Combine(p.versus(p.plateau, p.platU)*p.v/r.Nominal, math.Abs(i)*tol))
	}
	s := p.link.s
	sum, last := 0.0, math.NaN()
	from := p.ramp.From
	if p.t0Seen {
		from = max(1, s.Index(p.t0))
	}
	for i := max(1, from); i < p.end; i++ {
		d := p.v - s.Y[i]
		if d != d {
			continue
		}
		if !math.IsNaN(last) {
			sum += (d*d + last*last) / 2 * (s.T(i) - s.T(i-1))
		}
		last = d
	}
	if p.t0Seen { // up to the first sample after the start
		sum += (p.v - p.ramp.Base) * (p.v - p.ramp.Base) * math.Max(0, s.T(from)-p.t0)
	}
	if p.first.RMS > 0 { // noise adds its square
		sum -= p.first.RMS * p.first.RMS * (s.T0(p.end-1) - s.T(from))
	}
	e := sum / r.Nominal
	if c := p.car.Capacitance; stated(c) {
		// The charge that came through the resistor gives the energy, too.
		y := s.Y[max(0, p.end-2)]
		byC := c.Nominal * (p.v*(y-p.ramp.Base) - (y*y-p.ramp.Base*p.ramp.Base)/2)
		// Own choice, no source: 5 % besides both tolerances, for what a fit
		// of a clean rise may be off.
		if span := (c.Hi - c.Lo) / 2 / c.Nominal; p.platOK && p.plateau > 0.98*p.v && math.Abs(e-byC) > (tol+span+0.05)*math.Max(e, byC) {
			p.note("The energy in the resistor was %s if the resistor is as drawn, %s if the capacitance is.", say(e, quantity.Joule), say(byC, quantity.Joule))
			return
		}
	}
	p.feature("resistor_energy", quantity.Joule, e, e*measure.Combine(tol, 2*p.link.gain(), 2*p.vU/p.v, s.Interval()/math.Max(p.first.Tau, s.Interval())))
}

// tauOfParts gives R·C: with a resistive load the time constant is shorter by
// the part of the voltage that is reached.
func (p *rise) tauOfParts() float64 {
	if p.knee == nil && p.platOK && p.vKnown && p.last.Spans() > 1.5 && p.plateau < 0.98*p.v && p.plateau > 0 {
		return p.first.Tau * p.v / p.plateau
	}
	return p.first.Tau
}

// implied gives the resistor for the known capacitance, and the reverse.
func (p *rise) implied() {
	if !p.ok {
		return
	}
	tau, u := p.tauOfParts(), p.tauU()
	if p.first.Fits() && p.knee == nil {
		p.out.rc = constant{tau, u}
		if r := p.car.Reachable; stated(r) && tau == p.first.Tau {
			// The bleed resistor, beside the pre-charge resistor as the link
			// sees them, shortens it by as much.
			p.out.rc.u = measure.Combine(u, tau*(1-r.Lo))
		}
	}
	imply := func(name string, dim quantity.Dim, by quantity.Range) {
		if !stated(by) {
			return
		}
		x := tau / by.Nominal
		p.feature(name, dim, x, measure.Combine(u/by.Nominal, math.Max(tau/by.Lo-x, x-tau/by.Hi)))
	}
	imply("implied_resistance", quantity.Ohm, p.car.Capacitance)
	imply("implied_capacitance", quantity.Farad, p.car.Resistance)
}

// measured takes resistor and capacitance apart by the current's channel.
func (p *rise) measured() {
	if p.current == nil || !p.ok || !p.vKnown || !p.t0Seen || p.knee != nil {
		return
	}
	stop := p.end
	if p.closes {
		stop--
	}
	c := p.current.s
	e, err := fit.Fit(c.Slice(c.Index(p.link.s.T(p.ramp.From)), c.Index(p.link.s.T0(stop))))
	if err != nil || !e.Fits() {
		return
	}
	i := math.Abs(e.At(p.t0))
	se, q := e.AtSE(p.t0)
	d := p.v - p.ramp.Base
	if i <= 0 || d <= 0 {
		return
	}
	r := d / i
	u := r * measure.Combine(measure.Combine(2*se, q, p.current.gain()*i)/i, measure.Combine(p.vU, p.link.gain()*d)/d)
	p.feature("resistance", quantity.Ohm, r, u)
	cap := p.tauOfParts() / r
	p.feature("capacitance", quantity.Farad, cap, cap*measure.Combine(u/r, p.tauU()/p.first.Tau))
}
