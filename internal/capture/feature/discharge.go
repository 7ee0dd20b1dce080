package feature

import (
	"errors"
	"math"

	"hvproof/internal/capture/fit"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

const (
	// lowVolts is the voltage that counts as discharged: 60 V DC (UN R100
	// 5.1.1; FSAE EV.7.2.2c).
	lowVolts = 60
	// within is the time for it, where the car does not say: 5 s (FSAE
	// EV.7.2.2c, Formula Student EV6.1.5).
	within = 5
	// tooNoisy is the part of the way that the noise may have (common
	// practice, no source): beyond it, a level is not known to 5 % from the
	// few samples at an event.
	tooNoisy = 0.1
	// lateStart is the time between opening and the beginning of the
	// discharge that is worth a finding, s. Own choice, no source: longer than
	// a contactor and a relay together take, short against the 5 s.
	lateStart = 0.3
)

// A fall is a discharge being looked at.
type fall struct {
	*analyst
	link *trace
	ramp fit.Ramp

	from   float64 // s, that times count from: the opening, or the trip
	fromU  float64
	name   string // of the time to 60 V
	first  fit.Exponential
	last   fit.Exponential
	ok     bool
	lastOK bool
	t0     float64 // beginning of the fall
	t0U    float64
	t0Seen bool
	side   quantity.Side // Above if times count from something that came too late
}

func (a *analyst) discharge() {
	f := &fall{analyst: a, link: a.traces[RoleLink], name: "time_to_60V"}
	a.out.Picture.Shown = shown(f.link, a.traces[RolePack])
	if !a.enough(f.link) || !f.begin() {
		return
	}
	f.fit()
	f.opening()
	f.numbers()
	f.held()
	f.parts()
}

// begin finds where the link falls.
func (f *fall) begin() bool {
	lo, hi := f.link.limits()
	if hi < -lo/3 {
		f.find("channel-swapped", "%s goes down to %s: the leads of the probe are the wrong way round. It is taken with its sign turned here.", f.link.ch.Name, volts(lo))
		f.link = f.link.reversed()
		hi = -lo
	}
	if c, ok := f.link.clippedIn(0, f.link.s.Len()); ok {
		f.clipped(f.link, c.From, c.To, c.Limit)
	}
	f.skipRise(hi)
	var moves bool
	f.ramp, moves = fit.Onset(f.link.s)
	if !moves && f.link.noise > tooNoisy*math.Max(math.Abs(lo), math.Abs(hi)) {
		f.noisy()
		return false
	}
	if moves && !f.ramp.Up {
		f.topped()
	}
	if !moves || f.ramp.Up {
		y, u, _ := f.link.level(0, f.link.s.Len())
		f.feature("end_voltage", quantity.Volt, y, measure.Combine(u, f.link.rating(y)))
		if y > lowVolts {
			f.find("not-below-60V", "The link stayed at %s to the end of the recording.", volts(y))
			f.find("held-up", "The link does not fall from %s: a contactor did not open, something feeds the link, or it has no discharge. Keep away; open the service disconnect and prove dead.", volts(y))
		} else {
			f.note("The link was at %s from the first sample on: there is nothing to be discharged.", volts(y))
		}
		return false
	}
	return true
}

// topped tells a start that is the recorder's top, not the link's: without
// the noise that the fall has, or at the top of the instrument's range. What
// lies above is not known, and the fall began earlier than it seems.
func (f *fall) topped() {
	t, to := f.link, f.ramp.From
	run, top := 0, t.s.Y[max(0, f.ramp.BaseTo-1)]
	for i := to - 1; i >= 0 && (t.s.Y[i] == top || i >= f.ramp.BaseTo); i-- {
		if t.s.Y[i] == top {
			run++
		}
	}
	// Own choice, no source: 30 equal samples are none of noise that is wider
	// than 1.3 steps; the last half per cent of a range is its end.
	smooth := run >= 30 && t.s.Slice(to, t.s.Len()).Noise() > math.Max(1.3*t.quantum, 1e-4*math.Abs(top))
	if smooth || t.rated.To > 0 && top >= 0.995*t.rated.To {
		f.clipped(t, max(0, to-run), to, top)
	}
}

func (f *fall) noisy() {
	f.find("too-noisy", "The noise of %s is too large to judge the fall. Use the probe's bandwidth limit or a smaller range.", volts(f.link.noise))
}

// skipRise leaves out what comes before the link is last at its top. Its parts
// of the top are own choice, no source: above the noise that is judged at all.
func (f *fall) skipRise(hi float64) {
	s := f.link.s
	first, _ := s.Slice(0, max(3, min(9, s.Len()/50))).Median()
	if first > 0.5*hi {
		return
	}
	at := 0
	for i, y := range s.Y {
		if y > 0.97*hi {
			at = i
		}
	}
	start := at
	for start > 0 && at-start < s.Len()/20 && !(s.Y[start] < 0.9*hi) {
		start--
	}
	t := *f.link
	t.s = s.Slice(start, s.Len())
	f.link = &t
	f.note("The link rose before: the recording is looked at from %s on.", seconds(t.s.T(0)))
}

// fit fits one or two slopes.
func (f *fall) fit() {
	s := f.link.s
	stop := s.Len()
	var knee *fit.Break
	for _, b := range fit.Breaks(s.Slice(f.ramp.From, s.Len())) {
		b.I += f.ramp.From
		if b.Knee() && knee == nil {
			knee = &b
			stop = b.I - 1
		}
	}
	var err error
	f.first, err = fit.Fit(s.Slice(f.ramp.From, stop))
	f.ok = err == nil && f.first.Gap < 0
	f.last, f.lastOK = f.first, f.ok
	if knee != nil {
		var failed error
		f.last, failed = fit.Fit(s.Slice(knee.I+1, s.Len()))
		f.lastOK = failed == nil && f.last.Gap < 0
		f.mark(knee.T, s.Y[min(knee.I, s.Len()-1)], "slope changes")
		f.note("The slope changes at %s, at %s: two discharge paths, one of which begins or ends there.", seconds(knee.T), volts(s.Y[min(knee.I, s.Len()-1)]))
	}
	if f.ok && f.ramp.Seen {
		t0, se, q, ok := f.first.When(f.ramp.Base, f.ramp.BaseSE)
		if ok && t0 <= s.T(f.ramp.Half) && t0 >= s.T(0) {
			f.t0, f.t0U, f.t0Seen = t0, measure.Combine(2*se, q), true
		}
	}
	// Where no curve tells: between the last sample of the level and the first
	// that has surely left it; of a slow fall among noise nothing can be said.
	if clear := math.Abs(f.ramp.Far-f.ramp.Base) > 100*f.link.noise; !f.t0Seen && f.ramp.Seen && clear {
		f.t0, f.t0U, f.t0Seen = s.T(f.ramp.From), s.T(f.ramp.From)-s.T(f.ramp.BaseTo), true
	}
	if f.ok {
		f.curve("fit", f.first)
		if !f.first.Fits() {
			f.find("not-exponential", "The fall is not that of one resistor and one capacitor: it differs from the best exponential by %s. Its time constant is not to be used; look for a load that draws constant power, or one that comes and goes.", volts(f.first.Systematic))
		}
		if n := f.first.Tau / s.Interval(); n < perTau {
			f.find("too-few-samples", "There are only %s samples in the time constant of %s; at least %d are needed. Record again with a faster time base.",
				say(n, quantity.One), seconds(f.first.Tau), perTau)
		}
	}
	if knee != nil && f.lastOK {
		f.curve("second slope", f.last)
	}
	if !f.ok && !errors.Is(err, fit.ErrFew) && s.Y[lastKnown(s.Y[:stop])] < f.ramp.Base/2 {
		f.find("not-exponential", "The fall is not that of a resistor and a capacitor: it does not get flatter as the link empties. Something draws more at low voltage, like a converter that is on, or a constant current. What is left when that lets go may fall far more slowly: switch it off, and record again.")
	}
	if f.link.noise > tooNoisy*math.Abs(f.ramp.Far-f.ramp.Base) {
		f.noisy()
	}
}

func (f *fall) curve(name string, e fit.Exponential) {
	f.out.Picture.Curves = append(f.out.Picture.Curves, Curve{Name: name, From: e.Origin, To: e.Until, At: e.At})
}

// opening finds the moment of opening: by the contactor's channel, or by the
// link itself.
func (f *fall) opening() {
	dt := f.link.s.Interval()
	if t := f.traces[RoleMain]; t != nil {
		if edges, _, _, ok := fit.Edges(t.s); ok {
			for _, e := range edges {
				if !e.Up {
					f.from, f.fromU = e.T, measure.Combine((e.End-e.Start)/2, dt/2)
					f.feature("opening", quantity.Second, f.from, f.time(f.fromU, 0))
					f.mark(f.from, f.ramp.Base, "contactor opens")
					f.late("the contactor opened")
					return
				}
			}
		}
	}
	f.from, f.fromU = f.t0, f.t0U
	if !f.t0Seen {
		f.from, f.fromU, f.side = f.link.s.T(0), 0, quantity.Above
		f.note("The moment of opening cannot be seen: times count from the first sample, and are longer in truth if it opened before that.")
		return
	}
	f.feature("opening", quantity.Second, f.from, f.time(f.fromU, 0))
	f.mark(f.from, f.ramp.Base, "opening")
	f.note("The moment of opening is taken from the link's own fall.")
}

func (f *fall) late(since string) {
	if f.t0Seen && f.t0-f.t0U-f.from > lateStart {
		f.find("discharge-late", "The link began to fall only %s after %s. Look at what starts the discharge, and at what holds the link until then.", seconds(f.t0-f.from), since)
	}
}

func (f *fall) time(u, length float64) float64 {
	digit := 0.0
	if ax := f.link.ch.Axis; ax != nil {
		digit = ax.Digit / 2
	}
	return measure.Combine(u, f.link.clock*math.Abs(length), digit)
}

// numbers gives levels and times.
func (f *fall) numbers() {
	base := f.ramp.Base
	f.feature("start_voltage", quantity.Volt, base, measure.Combine(2*f.ramp.BaseSE, f.link.step(), f.link.rating(base)))
	f.out.Picture.Levels = append(f.out.Picture.Levels, Level{lowVolts, "60 V"})
	if f.ok && f.first.Fits() {
		f.feature("tau", quantity.Second, f.first.Tau, measure.Combine(2*f.first.TauSE, f.first.TauQuantum, f.link.clock*f.first.Tau))
		if f.last.Origin != f.first.Origin && f.lastOK && f.last.Fits() {
			f.feature("tau_late", quantity.Second, f.last.Tau, measure.Combine(2*f.last.TauSE, f.last.TauQuantum, f.link.clock*f.last.Tau))
		}
	}
	n := max(5, f.link.s.Len()/50)
	y, u, _ := f.link.level(f.link.s.Len()-n, f.link.s.Len())
	f.feature("last_voltage", quantity.Volt, y, measure.Combine(u, f.link.rating(y)))
	f.sixty()
	f.implied()
}

// sixty gives the time to 60 V, and what it becomes at full charge.
func (f *fall) sixty() {
	s := f.link.s
	if f.ramp.Base < lowVolts {
		f.note("The link began at %s, below 60 V: this recording says nothing about the time from full charge.", volts(f.ramp.Base))
		return
	}
	t, se, ok := fit.Crossing(s, f.ramp.From, lowVolts, false)
	if !ok {
		f.bounded(f.name, quantity.Second, s.T(s.Len()-1)-f.from, f.time(f.fromU, 0), quantity.Above)
		f.find("not-below-60V", "The link was still at %s when the recording ended, %s after the beginning. Record longer; until it is seen below 60 V, treat it as live.", volts(s.Y[lastKnown(s.Y)]), seconds(s.T(s.Len()-1)-f.from))
		return
	}
	f.mark(t, lowVolts, "60 V")
	slope := f.slopeAt(t)
	level := 0.0
	if slope > 0 {
		level = measure.Combine(f.link.rating(lowVolts), f.link.step()) / slope
	}
	x := t - f.from
	u := f.time(measure.Combine(2*se, f.fromU, level), x)
	f.bounded(f.name, quantity.Second, x, u, f.side)
	f.atFull(x, u)
}

func lastKnown(v []float64) int {
	for i := len(v) - 1; i > 0; i-- {
		if v[i] == v[i] {
			return i
		}
	}
	return 0
}

// slopeAt gives the magnitude of the slope at t, volts per second.
func (f *fall) slopeAt(t float64) float64 {
	switch {
	case f.lastOK && t >= f.last.Origin:
		return math.Abs(f.last.Slope(t))
	case f.ok:
		return math.Abs(f.first.Slope(t))
	}
	return 0
}

// atFull re-scales a time to full charge, and to the least favourable
// tolerance of the car's parts: what was measured is this day's voltage and
// these parts at this temperature. That time is what limits are for.
func (f *fall) atFull(x, u float64) {
	limit, from := float64(within), "5 s is what rule books allow"
	if stated(f.car.DischargeWithin) {
		limit, from = f.car.DischargeWithin.Lo, "the car's data allow "+seconds(f.car.DischargeWithin.Lo)
	}
	worst := x
	if stated(f.car.MaxVoltage) && f.ok {
		base, full := f.ramp.Base, f.car.MaxVoltage.Hi
		rest := base - f.first.End
		if full > base && rest > 0 {
			more := f.first.Tau * math.Log((full-f.first.End)/rest)
			u = measure.Combine(u, 2*f.first.TauSE*more/f.first.Tau, f.first.Tau*f.link.rating(base)/rest)
			worst += more
		}
		f.bounded(f.name+"_full_charge", quantity.Second, worst, u, f.side)
		if stated(f.car.DischargeTau) && f.car.DischargeTau.Hi > f.first.Tau {
			k := f.car.DischargeTau.Hi / f.first.Tau
			delay := math.Max(0, f.t0-f.from)
			worst, u = delay+(worst-delay)*k, u*k
		}
		f.bounded(f.name+"_worst", quantity.Second, worst, u, f.side)
	} else if !f.ok {
		f.note("Without a time constant the time is not re-scaled to full charge: from a higher voltage it takes longer.")
	} else {
		f.note("Without the car's data the time is not re-scaled to full charge: from a higher voltage it takes longer.")
	}
	switch {
	case x > limit:
		f.find("discharge-late", "The link came down to 60 V only after %s; %s. Look at the discharge resistor, its relay and its connections.", seconds(x), from)
	case worst > limit:
		f.find("discharge-late", "From full charge and with the least favourable parts the link comes down to 60 V only after %s (%s here); %s. Look at the discharge resistor and its tolerance.", seconds(worst), seconds(x), from)
	}
}

// implied gives resistor and capacitance from the time constant.
func (f *fall) implied() {
	if !f.ok || !f.first.Fits() {
		return
	}
	tau, u := f.first.Tau, measure.Combine(2*f.first.TauSE, f.first.TauQuantum, f.link.clock*f.first.Tau)
	if f.last.Origin == f.first.Origin {
		f.out.rc = constant{tau, u}
	}
	imply := func(name string, dim quantity.Dim, by quantity.Range) {
		if stated(by) {
			x := tau / by.Nominal
			f.feature(name, dim, x, measure.Combine(u/by.Nominal, math.Max(tau/by.Lo-x, x-tau/by.Hi)))
		}
	}
	imply("implied_resistance", quantity.Ohm, f.car.Capacitance)
	imply("implied_capacitance", quantity.Farad, f.car.DischargeResistance)
	if f.lastOK && f.last.Origin != f.first.Origin && stated(f.car.Capacitance) {
		x := f.last.Tau / f.car.Capacitance.Nominal
		f.feature("implied_resistance_late", quantity.Ohm, x, measure.Combine(2*f.last.TauSE/f.car.Capacitance.Nominal, f.last.Tau/f.car.Capacitance.Lo-x))
	}
}

// held tells a link that something feeds. Own choice, no source: the last
// level must be seen for one and a half time constants, or stand within half a
// per cent for a fifth of the recording; 3 % or 5 V of it is more than a
// probe's zero is off.
func (f *fall) held() {
	if !f.lastOK || f.last.Spans() < 1.5 {
		return
	}
	end, u := f.last.End, measure.Combine(2*f.last.EndSE, f.last.EndQuantum, f.link.step())
	if !f.last.Fits() { // then only what the samples show themselves
		n := f.link.s.Len()
		early, eu, ok1 := f.link.level(n*8/10, n*9/10)
		late, lu, ok2 := f.link.level(n*9/10, n)
		if !ok1 || !ok2 || early-late > 0.005*f.ramp.Base+eu+lu {
			return
		}
		end, u = late, lu
	}
	if last, lu, ok := f.link.level(f.link.s.Len()*49/50, f.link.s.Len()); ok && end-u > last+lu {
		return // it is below that already
	}
	f.feature("end_voltage", quantity.Volt, end, measure.Combine(u, f.link.rating(end)))
	if end-u > math.Max(0.03*f.ramp.Base, 5) {
		f.find("held-up", "The link does not go to zero but levels off at %s: something feeds it. Look for a pre-charge relay that stays closed, a welded contactor, a turning motor, or a converter that runs backwards.", volts(end))
	}
}

// parts compares the time constant with the car's.
func (f *fall) parts() {
	if !f.ok || !f.first.Fits() || !stated(f.car.DischargeTau) || f.last.Origin != f.first.Origin {
		return
	}
	tau, u := f.first.Tau, measure.Combine(2*f.first.TauSE, f.first.TauQuantum, f.link.clock*f.first.Tau)
	w := f.car.DischargeTau
	if overlaps(w, tau-u, tau+u) {
		return
	}
	for _, k := range factors {
		if x := tau / k.ratio; overlaps(w, x*0.97, x*1.03) {
			f.find("wrong-time-base", "The time constant of the discharge is %s, this car's data give %s: %s. Compare the time base in the file with the scope's setting.", seconds(tau), span(w.Lo, w.Hi, quantity.Second), k.text)
			return
		}
	}
	c, r := f.car.Capacitance, f.car.DischargeResistance
	if !stated(c) || !stated(r) {
		return
	}
	const apart = "A pre-charge capture tells the two apart: its time constant has the same capacitance and another resistor."
	f.find("resistor-differs", "The time constant of the discharge is %s; this car's data give %s. If the capacitance is as drawn, what discharges the link is %s instead of %s. Or the capacitance differs. %s",
		seconds(tau), span(w.Lo, w.Hi, quantity.Second), span(tau/c.Hi, tau/c.Lo, quantity.Ohm), span(r.Lo, r.Hi, quantity.Ohm), apart)
	f.find("capacitance-differs", "The time constant of the discharge is %s; this car's data give %s. If the resistors are as drawn, the link's capacitance is %s instead of %s. Or a resistor differs. %s",
		seconds(tau), span(w.Lo, w.Hi, quantity.Second), span(tau/r.Hi, tau/r.Lo, quantity.Farad), span(c.Lo, c.Hi, quantity.Farad), apart)
}
