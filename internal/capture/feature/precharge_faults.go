package feature

import (
	"fmt"
	"math"
	"strings"

	"hvproof/internal/capture/fit"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// faults gives the findings about a resolved rise.
func (p *rise) faults() {
	p.quality()
	p.loaded()
	p.closedEarly()
	p.neverClosed()
	p.bounces()
	if p.ok && !p.timeBase() {
		p.parts()
	}
}

// quality says what makes the recording unfit.
func (p *rise) quality() {
	way := math.Abs(p.ramp.Far - p.ramp.Base)
	if p.knee != nil {
		y := p.link.s.Y[min(p.knee.I, p.link.s.Len()-1)]
		p.mark(p.knee.T, y, "knee")
		p.find("knee", "The slope breaks at %s, %s: something began to draw current there, like a DC-DC converter or heater with a threshold. Find what switches on at that voltage, and keep it off during pre-charge.", volts(y), seconds(p.knee.T))
	}
	if !p.ok {
		if p.link.noise > 0.05*way {
			p.noisy()
		}
		return
	}
	if n := p.first.Tau / p.link.s.Interval(); n < perTau {
		p.find("too-few-samples", "There are only %s samples in the time constant of %s; at least %d are needed. Record again with a faster time base.",
			say(n, quantity.One), seconds(p.first.Tau), perTau)
	}
	// Own choice, no source: beyond a tenth of the way no level is known to 5 %;
	// less noise does when it leaves a tenth of the time constant open.
	if p.link.noise > 0.1*way || (2*p.first.TauSE > 0.1*p.first.Tau && p.link.noise > 0.01*way) {
		p.noisy()
	}
	if p.knee != nil {
		return
	}
	if !p.first.Fits() {
		p.find("not-exponential", "The rise is not that of one resistor and one capacitor: it differs from the best exponential by %s (lag-1 correlation %.2f). Its time constant is not to be used. Look for a second branch, a resistor that changes as it warms (PTC), or a load that comes and goes.",
			volts(p.first.Systematic), p.first.Lag1)
		return
	}
	if n := p.first.Tau / p.link.s.Interval(); n >= perTau && p.link.noise*hides > way*math.Sqrt(n) {
		p.find("too-noisy", "The noise of %s is too large: a load that came on during pre-charge could hide in it. Use the probe's bandwidth limit or a smaller range, or record with a faster time base.", volts(p.link.noise))
	}
}

// hides is the part of the voltage, over the noise and per root of the samples
// in a time constant, below which a break of the slope by 15 % of the first
// slope may be missed: own choice, no source, tried out in TestNoiseIsSaid.
const hides = 1000

func (p *rise) noisy() {
	p.find("too-noisy", "The noise of %s is too large: the time constant cannot be told to a tenth. Use the probe's bandwidth limit or a smaller range, and keep its leads away from the drive.", volts(p.link.noise))
}

// gap gives by how much the plateau is short of the pack, and the
// uncertainty of the samples.
func (p *rise) gap() (gap, u float64, ok bool) {
	if !p.vKnown || !p.platOK {
		return 0, 0, false
	}
	return p.v - p.plateau, measure.Combine(p.vU, p.platU), true
}

// loaded tells a plateau short of the pack.
func (p *rise) loaded() {
	gap, u, ok := p.gap()
	if !ok || p.last.Spans() < 1.5 {
		if gap, u, ok = p.lateGap(); ok {
			p.stoodStill()
		}
	}
	if !ok {
		return
	}
	least := reachable
	if stated(p.car.Reachable) {
		least = math.Min(p.car.Reachable.Lo, 0.999)
		if p.vSame {
			least -= 0.002 // own choice, no source: one channel repeats a level to that
		} else {
			least = math.Min(least, reachable) // two channels may differ by a few percent of range
		}
	}
	if gap < (1-least)*p.v+u {
		return
	}
	text := fmt.Sprintf("The link stopped at %s of %s: something drew ", volts(p.plateau), volts(p.v))
	if f, have := p.out.Feature("load_current"); have {
		text += amperes(f.Value) + " during pre-charge. "
	} else {
		text += "current during pre-charge. "
	}
	p.find("load-during-precharge", "%s%s", text, p.rivals())
}

// stoodStill puts what was seen at the end in the place of what the curve would
// have ended at, where the link stood still away from that curve.
func (p *rise) stoodStill() {
	for i := range p.out.Features {
		f := &p.out.Features[i]
		switch r, ok := p.resistance(); {
		case f.Name == "end_voltage":
			f.Value, f.U = p.plateau, measure.Combine(p.platU, p.link.rating(p.plateau))
		case f.Name == "load_current" && p.current == nil && ok:
			f.Value = (p.v - p.plateau) / r.Nominal
			f.U = measure.Combine(p.versus(p.plateau, p.platU)*p.v/r.Nominal, math.Abs(f.Value)*(r.Hi-r.Lo)/2/r.Nominal)
		}
	}
}

// lateGap gives the gap where no curve tells the plateau, but the link stands
// still for the last fifth of a recording that shows no closing.
func (p *rise) lateGap() (gap, u float64, ok bool) {
	n := p.link.s.Len()
	if p.closes || !p.vKnown || p.hasClip() || n < 5*fewest {
		return 0, 0, false
	}
	early, eu, ok1 := p.link.level(n*8/10, n*9/10)
	late, lu, ok2 := p.link.level(n*9/10, n)
	if !ok1 || !ok2 || math.Abs(late-early) > 0.005*p.v+eu+lu {
		return 0, 0, false
	}
	p.plateau, p.platU, p.platOK = late, lu, true
	return p.v - late, measure.Combine(p.vU, lu), true
}

// rivals lists the loads that explain the plateau, and what tells them apart.
func (p *rise) rivals() string {
	look := "Look for a DC-DC converter or heater that is on, or a discharge resistor that stays connected."
	i, have := p.out.Feature("load_current")
	if !have || i.Value <= 0 {
		return look + " A resistor draws less at lower voltage, a converter more: repeat at half the pack's voltage and compare."
	}
	resistor, power := p.plateau/i.Value, p.plateau*i.Value
	kinds := fmt.Sprintf("As a resistor it would be %s, as a converter %s", ohms(resistor), say(power, quantity.Watt))
	switch {
	case p.knee != nil:
		return look + " " + kinds + "; the knee speaks for a converter."
	case stated(p.car.Tau) && p.ok && overlaps(p.car.Tau, p.tauOfParts()-p.tauU(), p.tauOfParts()+p.tauU()) &&
		!overlaps(p.car.Tau, p.first.Tau-p.tauU(), p.first.Tau+p.tauU()):
		return look + " " + kinds + "; the shortened time constant speaks for a resistor."
	}
	return look + " " + kinds + ": repeat at half the pack's voltage; a resistor draws half, a converter more."
}

func (p *rise) closedEarly() {
	if !p.closes || !p.vKnown {
		return
	}
	y, u, ok := p.before()
	want := target
	if stated(p.car.Target) {
		want = p.car.Target.Lo
	}
	if f := y / p.v; ok && f+u/p.v < want {
		p.find("closed-early", "The main contactor closed at %s of the pack's voltage (%s of %s), %s short; %s is wanted. The contactor takes the rest as inrush: look at what lets it close, by time or by measured voltage, and check it for welding.",
			percent(f), volts(y), volts(p.v), volts(p.v-y), percent(want))
	}
}

// neverClosed tells a main contactor that did not join link and pack.
func (p *rise) neverClosed() {
	s := p.link.s
	if p.jump != nil {
		return
	}
	if p.closes { // commanded; did the link come to the pack?
		// Own choice, no source: 1 % of the pack is more than a closed contactor
		// and two channels leave, and a closing takes away most of the gap.
		after, u, ok := p.link.level(max(p.after+5, s.Len()*49/50), s.Len())
		gap, gu, have := p.gap()
		if ok && have && p.pack != nil && gap > 0.01*p.v+gu && p.v-after > 0.8*gap-u {
			p.closes = false
			p.find("never-closed", "The main contactor's signal came at %s, and the link stayed %s below the pack. Look at the contactor's coil voltage under load, and at what the signal really shows.", seconds(p.tc), volts(p.v-after))
		}
		return
	}
	if p.main != nil {
		if _, closes := p.mainCloses(); !closes {
			p.find("never-closed", "Pre-charge went on to the end of the recording and the main contactor's signal never came. Look at what it waits for: the measured voltage, its threshold, its supply.")
			return
		}
	}
	if p.end < s.Len()-3 && !p.hasClip() {
		late, lu, ok := p.link.level(s.Len()*49/50, s.Len())
		top, u, ok2 := p.link.level(max(p.ramp.From, p.end-9), p.end)
		// Own choice, no source: 2 % is more than a level sways.
		if ok && ok2 && late < top-0.02*math.Abs(top)-lu-u {
			p.find("never-closed", "From %s on the link went down again, to %s, without the main contactor having closed: pre-charge was broken off. Look at what the control waited for, and at its time-out.", seconds(s.T(p.end)), volts(late))
		}
		return
	}
	p.note("The recording does not show the main contactor closing.")
}

func (p *rise) hasClip() bool { _, ok := p.out.Finding("clipped"); return ok }

// bounces tells a contactor that closed more than once.
func (p *rise) bounces() {
	if !p.closes {
		return
	}
	s := p.link.s
	from, to := s.Index(p.tc)-3, s.Index(p.tc+bounce)
	n := 0
	if p.touched {
		n = 2
	}
	if p.jump != nil {
		// Own choice, no source: a contact that breaks lets the link fall by a
		// good part of the step, noise does not.
		n = max(n, len(fit.Transitions(s, from, to, 0.3*math.Abs(p.jump.Jump))))
		for _, b := range p.breaks {
			if b.T > p.tc && b.T < p.tc+bounce && math.Abs(b.Jump) > 0.3*math.Abs(p.jump.Jump) && n < 2 {
				n = 2
			}
		}
	}
	if p.main != nil {
		edges, _, _, ok := fit.Edges(p.main.s)
		k := 0
		for _, e := range edges {
			if ok && math.Abs(e.T-p.tc) < bounce {
				k++
			}
		}
		n = max(n, k)
	}
	if p.current != nil {
		edges, _, _, ok := fit.Edges(p.current.s)
		k := 0
		for _, e := range edges {
			if ok && e.T > p.tc-0.002 && e.T < p.tc+bounce {
				k++
			}
		}
		if k > 2 { // one surge is an edge up and one down
			n = max(n, k-1)
		}
	}
	if n > 1 {
		p.find("contactor-bounce", "The main contactor made and broke several times when it closed (%d changes within %s). Each costs contact material: look at the coil's supply under load, the contactor's fixing, and its age.", n, seconds(bounce))
	}
}

// factors are ratios by which a time base is set or read wrongly.
var factors = []struct {
	ratio float64
	text  string
}{
	{1e3, "a thousand times too long: milliseconds read as seconds?"},
	{1e-3, "a thousand times too short: seconds read as milliseconds?"},
	{1e6, "a million times too long: microseconds read as seconds?"},
	{1e-6, "a million times too short"},
	{1e2, "a hundred times too long"},
	{1e-2, "a hundred times too short"},
	{60, "sixty times too long: minutes for seconds?"},
}

// timeBase tells times that cannot be, and a link without its capacitors.
// Without the car's data, 0.5 ms to 30 s may be: own choice, no source, from
// 10 Ω and 50 µF to 3 kΩ and 10 mF. A factor must fit to 3 %: own choice, no
// source, what a clock and a fit are never off by.
func (p *rise) timeBase() bool {
	tau := p.first.Tau
	const look = "Compare the time base in the file with the scope's setting."
	if !stated(p.car.Tau) {
		switch {
		case tau > 30:
			p.find("wrong-time-base", "A time constant of %s is far too long for a pre-charge. %s", seconds(tau), look)
		case tau < 5e-4:
			p.find("load-not-connected", "A time constant of %s is far too short: the drive's capacitors may not be connected. Look at the DC-link connector and the link's fuse. Or the time base is wrong.", seconds(tau))
			p.find("wrong-time-base", "A time constant of %s is far too short for a pre-charge: the time base may be wrong, or the link's capacitors are not connected. %s", seconds(tau), look)
		default:
			return false
		}
		return true
	}
	for _, f := range factors {
		if x := tau / f.ratio; overlaps(p.car.Tau, x*0.97, x*1.03) {
			p.find("wrong-time-base", "The time constant is %s, this car's data give %s: %s. %s", seconds(tau), span(p.car.Tau.Lo, p.car.Tau.Hi, quantity.Second), f.text, look)
			return true
		}
	}
	if tau < p.car.Tau.Lo/20 {
		p.find("load-not-connected", "The link rose with a time constant of %s, far too fast for this car (%s): its capacitors may not be connected. Look at the DC-link connector and the link's fuse.", seconds(tau), span(p.car.Tau.Lo, p.car.Tau.Hi, quantity.Second))
		return true
	}
	return false
}

// parts compares the time constant with the car's resistor and capacitance.
func (p *rise) parts() {
	if !stated(p.car.Tau) || !stated(p.car.Resistance) || !stated(p.car.Capacitance) {
		return
	}
	tau, u := p.tauOfParts(), p.tauU()
	rOff, cOff := p.outside("resistance", p.car.Resistance), p.outside("capacitance", p.car.Capacitance)
	_, direct := p.out.Feature("resistance")
	if overlaps(p.car.Tau, tau-u, tau+u) && !rOff && !cOff {
		return
	}
	head := fmt.Sprintf("The time constant is %s; this car's data give %s. ", seconds(tau), span(p.car.Tau.Lo, p.car.Tau.Hi, quantity.Second))
	if tau != p.first.Tau {
		head = fmt.Sprintf("Without the load the time constant would be %s; this car's data give %s. ", seconds(tau), span(p.car.Tau.Lo, p.car.Tau.Hi, quantity.Second))
	}
	if direct {
		if rOff {
			f, _ := p.out.Feature("resistance")
			p.find("resistor-differs", "%sBy the current the pre-charge resistor is %s, not %s. Read its marking and measure it, dead and locked off.", head, ohms(f.Value), span(p.car.Resistance.Lo, p.car.Resistance.Hi, quantity.Ohm))
		}
		if cOff {
			f, _ := p.out.Feature("capacitance")
			p.find("capacitance-differs", "%sBy the current the link's capacitance is %s, not %s. Look for a capacitor that is not connected, or one more than drawn.", head, farads(f.Value), span(p.car.Capacitance.Lo, p.car.Capacitance.Hi, quantity.Farad))
		}
		if rOff || cOff {
			return
		}
	}
	c, r := p.car.Capacitance, p.car.Resistance
	const apart = "The time constant alone does not tell which: a discharge capture does, as its time constant has the capacitance and another resistor; or measure the resistor, dead and locked off."
	p.find("resistor-differs", "%sIf the capacitance is as drawn, the pre-charge resistor is %s instead of %s%s. Or the capacitance differs. %s",
		head, span(tau/c.Hi, tau/c.Lo, quantity.Ohm), span(r.Lo, r.Hi, quantity.Ohm), preferred(tau/c.Nominal, tau/c.Hi, tau/c.Lo), apart)
	p.find("capacitance-differs", "%sIf the resistor is as drawn, the link's capacitance is %s instead of %s. Or the resistor differs. %s",
		head, span(tau/r.Hi, tau/r.Lo, quantity.Farad), span(c.Lo, c.Hi, quantity.Farad), apart)
}

// outside reports whether a feature misses a range by more than its U.
func (p *rise) outside(name string, r quantity.Range) bool {
	f, ok := p.out.Feature(name)
	return ok && !overlaps(r, f.Value-f.U, f.Value+f.U)
}

// preferred names the E24 value (IEC 60063) next to x, if it lies in the range.
func preferred(x, lo, hi float64) string {
	if !(x > 0) {
		return ""
	}
	e24 := []float64{1, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2, 2.2, 2.4, 2.7, 3, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1, 10}
	decade := math.Pow(10, math.Floor(math.Log10(x)))
	best := e24[0]
	for _, e := range e24 {
		if math.Abs(math.Log(e*decade/x)) < math.Abs(math.Log(best*decade/x)) {
			best = e
		}
	}
	if v := best * decade; v >= lo && v <= hi {
		return " (" + strings.TrimSpace(ohms(v)) + " is the nearest value that is sold)"
	}
	return ""
}
