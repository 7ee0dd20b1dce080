package feature

import (
	"errors"
	"math"

	"hvproof/internal/capture/fit"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

const (
	// liveVolts is the voltage from which a link counts as live (UN R100,
	// 60 V DC); below 200 V of pack, where a rehearsal runs, 0.3 of it: own
	// choice, no source, 60 V of 200 V.
	liveVolts = 60
	livePart  = 0.3
	// target is the part of the pack's voltage at which the main contactor
	// may close, where the car does not say (Formula Student EV5.7.1).
	target = 0.95
	// reachable is what a healthy pre-charge reaches at least, where the car
	// does not say: a bleed resistor takes less than a fiftieth of the
	// voltage (common practice, no source).
	reachable = 0.98
	// perTau is the least number of samples in a time constant. Own choice, no
	// source: the rise between two samples is then below a tenth of the way.
	perTau = 10
	// fewest is the least number of samples that anything is said about. Own
	// choice, no source: two time constants of perTau samples.
	fewest = 20
)

// A rise is a pre-charge being looked at.
type rise struct {
	*analyst
	link, pack, main, relay, current *trace

	ramp    fit.Ramp
	breaks  []fit.Break
	knee    *fit.Break // where the slope breaks, nil if nowhere
	jump    *fit.Break // the closing as the link shows it
	end     int        // first sample after pre-charge
	after   int        // first sample of the level after closing
	touched bool       // the contacts touched before they stayed
	closes  bool
	tc      float64 // time of closing

	first  fit.Exponential // up to the knee or the end
	last   fit.Exponential // from the knee to the end, or the same as first
	ok     bool            // first is fitted
	lastOK bool
	t0     float64
	t0U    float64
	t0Seen bool

	v, vU   float64 // the pack's voltage at the end of pre-charge, U of the samples
	vKnown  bool
	vSame   bool // taken from the link itself after closing: gain drops out
	plateau float64
	platU   float64
	platOK  bool
}

func (a *analyst) precharge() {
	p := &rise{analyst: a, link: a.traces[RoleLink], pack: a.traces[RolePack], main: a.traces[RoleMain],
		relay: a.traces[RoleRelay], current: a.traces[RoleCurrent]}
	if !a.enough(p.link) {
		return
	}
	p.orient()
	a.out.Picture.Shown = shown(p.link, p.pack)
	if p.pack == nil {
		a.find("needs-pack-voltage", "No channel shows the pack's side, so whether the link came up to the pack cannot be judged. Record both sides of the main contactor at the same time, or name the channel: --channel pack=COLUMN.")
	}
	var moves bool
	if p.ramp, moves = fit.Onset(p.link.s); !moves {
		p.still()
		return
	}
	if p.link.noise > 0.1*math.Abs(p.ramp.Far-p.ramp.Base) && !p.ramp.Up {
		p.noisy() // which way it goes is not known
		return
	}
	p.live()
	if p.sudden() {
		return
	}
	p.events()
	p.clip()
	p.curves()
	p.reference()
	p.numbers()
	p.faults()
}

// enough reports whether a trace has enough known samples; it says so if not.
func (a *analyst) enough(t *trace) bool {
	n := 0
	for _, y := range t.s.Y {
		if y == y {
			if n++; n >= fewest {
				return true
			}
		}
	}
	if c, ok := t.clippedIn(0, t.s.Len()); ok {
		a.clipped(t, c.From, c.To, c.Limit)
	}
	a.find("too-few-samples", "%s has only %d samples; at least %d are needed. Record again with a faster time base.", t.ch.Name, n, fewest)
	return false
}

func shown(traces ...*trace) []string {
	var out []string
	for _, t := range traces {
		if t != nil {
			out = append(out, t.role)
		}
	}
	return out
}

// orient turns round what is connected the wrong way, and says so.
func (p *rise) orient() {
	if p.pack != nil && p.swapped() {
		p.find("channel-swapped", "%s, said to be the link, stands still while %s, said to be the pack, charges up: the two are taken the other way round here. Change the channels of the step, or the leads.", p.link.ch.Name, p.pack.ch.Name)
		p.link, p.pack = p.pack, p.link
	}
	lo, hi := p.link.limits()
	if hi < -lo/3 {
		p.find("channel-swapped", "%s goes down to %s: the leads of the probe are the wrong way round. It is taken with its sign turned here.", p.link.ch.Name, volts(lo))
		p.link = p.link.reversed()
		if p.pack != nil {
			if lo, hi := p.pack.limits(); hi < -lo/3 {
				p.pack = p.pack.reversed()
			}
		}
	}
}

// swapped tells the pack's channel by its rise and the link's by its standing.
// Its parts of the top are own choice, no source: no pack falls by a fifth in a
// pre-charge, and no pre-charge stays below half.
func (p *rise) swapped() bool {
	_, top := p.pack.limits()
	ramp, moves := fit.Onset(p.pack.s)
	if !moves || !ramp.Up || ramp.Far-ramp.Base < 0.5*top {
		return false
	}
	lo, hi := p.link.limits()
	return hi-lo < 0.2*hi && hi > 0.5*top
}

// packTop gives the highest voltage that the pack's channel shows, or the
// link reaches.
func (p *rise) packTop() float64 {
	_, hi := p.link.limits()
	if p.pack != nil {
		if _, top := p.pack.limits(); top > hi {
			return top
		}
	}
	return hi
}

func (p *rise) liveFrom() float64 { return math.Min(liveVolts, livePart*p.packTop()) }

// still is a link that does not change.
func (p *rise) still() {
	y, u, _ := p.link.level(0, p.link.s.Len())
	p.feature("end_voltage", quantity.Volt, y, measure.Combine(u, p.link.rating(y)))
	_, top := p.link.limits()
	if p.pack != nil {
		_, top = p.pack.limits()
	}
	if p.link.noise > math.Max(0.1*top, 3) {
		p.noisy()
		return
	}
	if y > math.Min(liveVolts, livePart*math.Max(top, 1)) {
		p.find("already-live", "The link stands at %s from the first sample to the last: it was live before pre-charge began, or the recording began too late. Open everything, prove the link dead, and do the weld check.", volts(y))
		return
	}
	p.find("never-precharged", "The link stayed at %s: no charge came through the pre-charge path. Look at the pre-charge relay, its supply, its fuse and the resistor, dead and locked off.", volts(y))
	p.commanded(y)
}

// commanded tells a closing that was commanded and did not happen.
func (p *rise) commanded(level float64) {
	if up, ok := p.mainCloses(); ok {
		p.find("never-closed", "The main contactor's signal came at %s, and the link stayed at %s. Look at the contactor's coil voltage under load, and at what the signal really shows.", seconds(up), volts(level))
	}
}

// live tells a link that was not empty.
func (p *rise) live() {
	if !p.ramp.Up {
		p.find("already-live", "The link began at %s and went down: it was live before pre-charge began. Open everything, prove the link dead, and do the weld check.", volts(p.ramp.Base))
		return
	}
	base := p.ramp.Base
	if y, _, ok := p.link.level(0, p.ramp.BaseTo/4); ok { // noise may hide where the level before ends
		base = math.Min(base, y)
	}
	switch from := p.liveFrom(); {
	case p.ramp.Seen && base > from:
		p.find("already-live", "The link stood at %s before pre-charge began. A main contactor may be welded, or the discharge does not work: open everything, prove the link dead, and do the weld check.", volts(p.ramp.Base))
	case p.ramp.Seen && p.ramp.Base > 0.03*p.packTop():
		p.note("The link still held %s when pre-charge began.", volts(p.ramp.Base))
	case !p.ramp.Seen:
		p.note("The recording begins during the rise: its start cannot be seen. Set the trigger so that some of the time before is recorded.")
	}
}

// sudden tells a rise that is over within three samples.
func (p *rise) sudden() bool {
	if !p.ramp.Up || p.ramp.Most-p.ramp.From > 3 {
		return !p.ramp.Up
	}
	t := p.link.s.T(p.ramp.Half)
	y, u, _ := p.link.level(p.ramp.Most+1, p.link.s.Len())
	p.feature("end_voltage", quantity.Volt, y, measure.Combine(u, p.link.rating(y)))
	p.mark(t, p.ramp.Far, "sudden rise")
	dt := p.link.s.Interval()
	slowest := 3e-3 // own choice, no source: s between samples, above which a quick pre-charge (τ 10 ms) cannot be seen
	if stated(p.car.Tau) {
		slowest = p.car.Tau.Lo / perTau
	}
	if dt > slowest {
		p.find("too-few-samples", "The link rose to %s between two or three samples, %s apart: its rise cannot be seen. Record with at least %d samples in a time constant.", volts(y), seconds(dt), perTau)
		return true
	}
	// Own choice, no source: a contactor of this size closes within 0.1 s of
	// its command.
	within := func(at float64, ok bool) bool { return ok && t >= at-2*dt && t-at < 0.1 }
	main, mainOK := p.mainCloses()
	relay, relayOK := rises(p.relay)
	byMain, byRelay := within(main, mainOK), within(relay, relayOK)
	const never = "The link jumped from %s to %s at once when it should have risen slowly: no pre-charge went before the closing of the main contactor, which then took the whole inrush. Check it for welding; look at the pre-charge relay, its supply and the resistor. "
	const bare = "The link came up from %s to %s far too fast for a capacitor behind a resistor: the drive's capacitors may not be connected. Look at the DC-link connector and the link's fuse. "
	switch {
	case byMain && !byRelay:
		p.find("never-precharged", never, volts(p.ramp.Base), volts(y))
	case byRelay && !byMain:
		p.find("load-not-connected", bare, volts(p.ramp.Base), volts(y))
	default:
		const apart = "This recording does not tell the two apart: record the commands of pre-charge relay and main contactor too."
		p.find("never-precharged", never+"Or the link's capacitors are not connected. "+apart, volts(p.ramp.Base), volts(y))
		p.find("load-not-connected", bare+"Or the main contactor closed without pre-charge. "+apart, volts(p.ramp.Base), volts(y))
	}
	return true
}

// rises gives the first upward edge of a two-level trace.
func rises(t *trace) (float64, bool) {
	if t == nil {
		return 0, false
	}
	edges, _, _, ok := fit.Edges(t.s)
	for _, e := range edges {
		if ok && e.Up {
			return e.T, true
		}
	}
	return 0, false
}

func (p *rise) mainCloses() (float64, bool) { return rises(p.main) }

// events finds knee, closing and the end of pre-charge.
func (p *rise) events() {
	s := p.link.s
	way := p.ramp.Far - p.ramp.Base
	p.end, p.after = s.Len(), s.Len()
	command, commanded := p.mainCloses()
	for _, b := range fit.Breaks(s.Slice(p.ramp.From, s.Len())) {
		b.I += p.ramp.From
		p.breaks = append(p.breaks, b)
	}
	for i := range p.breaks {
		b := &p.breaks[i]
		switch {
		case b.Jump > 0 && (!commanded || b.T > command-2*s.Interval()):
			p.jump, p.closes, p.tc = b, true, b.T
			p.end, p.after = min(p.end, b.I), b.I
		case p.bouncing(i):
			p.end, p.touched = min(p.end, b.I), true
			continue
		case b.Jump < 0 || (b.Knee() && p.follows(i) < -0.02*way):
			p.end, p.after = min(p.end, b.I), b.I // something took the charge away
		case b.Knee() && p.knee == nil && b.Before > 0:
			p.knee = b
			continue
		default:
			continue
		}
		break
	}
	if commanded && !p.closes {
		// A step too small to be seen: the command's time stands for it.
		if i := s.Index(command); i > p.ramp.From && i < p.end {
			p.closes, p.tc, p.end, p.after = true, command, i, i
		}
	}
	if p.knee != nil && p.knee.I >= p.end {
		p.knee = nil
	}
}

// bouncing reports whether a knee belongs to a closing soon after it: the
// contactor's contacts touched before they stayed. A load that is switched on
// makes the rise slower, and these make it steeper or turn it round.
func (p *rise) bouncing(i int) bool {
	b := p.breaks[i]
	if !b.Knee() || (b.After < b.Before && b.After > -b.Before) {
		return false
	}
	for _, c := range p.breaks[i+1:] {
		if apart := c.T - b.T; c.Jump > 0 && apart < bounce && apart < 0.1*(b.T-p.link.s.T(p.ramp.From)) {
			return true
		}
	}
	return false
}

// follows gives by how much the link changes from a break to the next, or to
// the end of the recording.
func (p *rise) follows(i int) float64 {
	s, next := p.link.s, p.link.s.Len()
	if i+1 < len(p.breaks) {
		next = p.breaks[i+1].I
	}
	b := p.breaks[i]
	n := max(3, (next-b.I)/20)
	from, _, ok := s.Slice(b.I-n, b.I).Level()
	to, _, ok2 := s.Slice(next-n, next).Level()
	if !ok || !ok2 {
		return (s.T(s.Len()-1) - b.T) * b.After
	}
	return to - from
}

// clip finds a top that is the recorder's, not the link's.
func (p *rise) clip() {
	if c, ok := p.link.clippedIn(p.ramp.From, p.link.s.Len()); ok {
		p.clipped(p.link, c.From, c.To, c.Limit)
		if c.From > p.ramp.From {
			p.below(c.From)
		}
		return
	}
	from, to, ok := flatTop(p.link, p.ramp.From, p.jump)
	if !ok {
		return
	}
	p.clipped(p.link, from, to, p.link.s.Y[from])
	p.closes, p.jump, p.after = false, nil, p.link.s.Len()
	p.below(from)
}

// below ends the rise short of sample clip, from which on it is cut off, and
// of where the noise reaches the top before it. The bend that the cut makes is
// no knee: knees are looked for below it only.
func (p *rise) below(clip int) {
	s := p.link.s
	top := s.Y[max(0, clip-1)]
	p.end = min(p.end, clip)
	for p.end > p.ramp.From+fewest && !(s.Y[p.end-1] < top-4*p.link.noise) {
		p.end--
	}
	p.knee = nil
	for _, b := range fit.Breaks(s.Slice(p.ramp.From, p.end)) {
		if b.I += p.ramp.From; b.Knee() && b.Before > 0 {
			p.knee = &b
			return
		}
	}
}

func (a *analyst) clipped(t *trace, from, to int, limit float64) {
	at := ""
	if !math.IsNaN(limit) {
		at = " at " + say(limit, t.dim)
	}
	a.find("clipped", "%s is cut off%s from %s to %s: the range was too small, and what it really did there is not known. Record again with a larger range.",
		t.ch.Name, at, seconds(t.s.T(from)), seconds(t.s.T(min(to, t.s.Len())-1)))
}

// flatTop finds the longest run of exactly the highest value. It is the
// recorder's limit if noise is seen elsewhere and none in the run, or if the
// curve below goes on well beyond it.
func flatTop(t *trace, start int, jump *fit.Break) (from, to int, ok bool) {
	top := math.Inf(-1)
	for _, y := range t.s.Y[start:] {
		top = math.Max(top, y)
	}
	for i := start; i < t.s.Len(); i++ {
		j := i
		for j < t.s.Len() && t.s.Y[j] == top {
			j++
		}
		if j-i > to-from {
			from, to = i, j
		}
		i = max(i, j-1)
	}
	if to-from < 10 || from <= start+10 {
		return 0, 0, false
	}
	before := t.s.Slice(max(start, from-200), from)
	if before.Noise() > math.Max(1.3*t.quantum, 1e-4*math.Abs(top)) && to-from >= 30 {
		return from, to, true
	}
	if jump != nil && jump.I <= from+2 && t.s.T(from)-jump.T < bounce {
		return 0, 0, false // it jumped there
	}
	e, err := fit.Fit(t.s.Slice(start, from-1))
	if err != nil || !e.Fits() {
		return 0, 0, false
	}
	want := e.At(t.s.T(to - 1))
	se, q := e.AtSE(t.s.T(to - 1))
	return from, to, want-top > 4*se+q+1.5*t.quantum+0.01*math.Abs(top)
}

// curves fits what can be fitted.
func (p *rise) curves() {
	s := p.link.s
	to := p.end
	if p.closes {
		to = max(p.ramp.From, to-1)
	}
	stop := to
	if p.knee != nil {
		stop = p.knee.I - 1
	}
	var err error
	p.first, err = fit.Fit(s.Slice(p.ramp.From, stop))
	p.ok = err == nil && p.first.Gap > 0
	p.last, p.lastOK = p.first, p.ok
	if p.knee != nil {
		p.last, err = fit.Fit(s.Slice(p.knee.I+1, to))
		p.lastOK = err == nil && p.last.Gap > 0
	}
	if !p.ok {
		switch {
		case errors.Is(err, fit.ErrFew):
			p.find("too-few-samples", "Only %d samples lie in the rise: its time constant cannot be told. Record with at least %d samples in a time constant.", stop-p.ramp.From, perTau)
		case errors.Is(err, fit.ErrStraight):
			p.note("The rise is still a straight line where it ends: its time constant cannot be told.")
		case errors.Is(err, fit.ErrFast):
			p.find("too-few-samples", "The rise is over within a few samples: its time constant cannot be told. Record with at least %d samples in a time constant.", perTau)
		case p.knee == nil && p.link.noise <= 0.05*math.Abs(p.ramp.Far-p.ramp.Base):
			p.find("not-exponential", "The rise does not slow down as that of a capacitor behind a resistor does. Look for a source that holds its current, or a recording that is not of the link.")
		}
		return
	}
	if p.ramp.Seen {
		t0, se, q, ok := p.first.When(p.ramp.Base, p.ramp.BaseSE)
		if ok && t0 <= s.T(p.ramp.Half) && t0 >= s.T(max(0, p.ramp.BaseTo-1))-0.3*p.first.Tau {
			p.t0, p.t0U, p.t0Seen = t0, measure.Combine(2*se, q), true
		}
	}
	p.out.Picture.Curves = append(p.out.Picture.Curves, Curve{Name: "fit", From: p.first.Origin, To: p.first.Until, At: p.first.At})
	if p.knee != nil && p.lastOK {
		p.out.Picture.Curves = append(p.out.Picture.Curves, Curve{Name: "fit after the knee", From: p.last.Origin, To: p.last.Until, At: p.last.At})
	}
}
