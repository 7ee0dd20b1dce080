package feature

import (
	"math"

	"hvproof/internal/capture/fit"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// coil finds pull-in and drop-out in a coil's current: while the armature
// moves, the current dips, and when it falls off, it swells.
func (a *analyst) coil() {
	t := a.traces[RoleCoil]
	if t == nil {
		t = a.traces[RoleCurrent]
	}
	if t == nil || !a.enough(t) {
		return
	}
	a.out.Picture.Shown = shown(t)
	if lo, hi := t.limits(); hi < -lo/3 {
		t = t.reversed()
	}
	if c, ok := t.clippedIn(0, t.s.Len()); ok {
		a.clipped(t, c.From, c.To, c.Limit)
	}
	ramp, moves := fit.Onset(t.s)
	if !moves {
		a.find("not-pulled-in", "The coil's current does not change: it was not switched in this recording, or it is open. Look at its supply and its plug.")
		return
	}
	off := t.s.Len()
	hi := ramp.Far
	if !ramp.Up {
		hi = ramp.Base
	}
	// The coil is on until its current last leaves half of its highest.
	for i := t.s.Len() - 1; i > 0; i-- {
		if t.s.Y[i] > hi/2 {
			off = i + 1
			break
		}
	}
	// It is switched off where the current begins to leave its last level.
	falls := off
	if off < t.s.Len() {
		for falls > ramp.From && t.s.Y[falls-1] < 0.95*hi {
			falls--
		}
	}
	if ramp.Up {
		a.pullIn(t, ramp, falls)
	}
	if off < t.s.Len()-3 {
		a.dropOut(t, hi, falls, off)
	}
}

// smooth gives moving means over 2·w+1 samples.
func smooth(y []float64, w int) []float64 {
	out := make([]float64, len(y))
	for i := range y {
		s, n := 0.0, 0.0
		for k := max(0, i-w); k <= min(len(y)-1, i+w); k++ {
			if y[k] == y[k] {
				s += y[k]
				n++
			}
		}
		out[i] = s / math.Max(n, 1)
	}
	return out
}

// pullIn looks for the dip in the rise, up to the sample at which the coil is
// switched off. Own choice, no source: 8 samples show a dip if there is one; it
// is 2 % of the current, 5 times the noise of a mean and more than a step of
// the converter, so that neither noise nor steps are an armature.
func (a *analyst) pullIn(t *trace, ramp fit.Ramp, off int) {
	rise := max(4, ramp.Most-ramp.From)
	if ramp.Most-ramp.From < 8 {
		a.find("too-few-samples", "The coil's current rises within %d samples: a dip cannot be seen. Record with a faster time base.", ramp.Most-ramp.From)
		return
	}
	w := max(0, rise/40)
	y := smooth(t.s.Y[:off], w)
	least := math.Max(0.02*(ramp.Far-ramp.Base), 5*t.noise/math.Sqrt(float64(2*w+1)))
	least = math.Max(least, 1.2*t.quantum)
	start := t.s.T(ramp.From)
	// The dip is the deepest fall below the highest value so far.
	top, topAt, bestTop, bestDip, depth := y[ramp.From], ramp.From, 0, 0, 0.0
	end := min(off-1, ramp.From+20*rise)
	for i := ramp.From; i < end; i++ {
		if y[i] > top {
			top, topAt = y[i], i
		}
		if d := top - y[i]; d > depth {
			depth, bestTop, bestDip = d, topAt, i
		}
	}
	recovers := false
	for i := bestDip; i < end; i++ {
		recovers = recovers || y[i] > y[bestDip]+depth/2
	}
	// The level just before the end, short of where it may begin to fall.
	m := max(5, (end-bestDip)/10)
	hold, u, _ := t.level(max(end-2*m, bestDip), end-m)
	if before, _, ok := t.level(max(end-3*m, bestDip), end-2*m); ok { // it may still rise
		u = measure.Combine(u, math.Abs(hold-before))
	}
	a.feature("hold_current", quantity.Ampere, hold, measure.Combine(u, t.rating(hold)))
	if depth < least || !recovers {
		a.find("not-pulled-in", "The coil's current rises without a dip: the armature did not move, so the contactor did not close. Look at the coil voltage under load, and at the contactor for a mechanical block or a weld that holds it closed already.")
		return
	}
	dt := t.s.Interval()
	at, from := t.s.T(bestDip), start
	if e, err := fit.Fit(t.s.Slice(ramp.From, max(ramp.From+8, bestTop))); err == nil && ramp.Seen {
		if t0, _, _, ok := e.When(ramp.Base, ramp.BaseSE); ok && math.Abs(t0-start) < t.s.T(bestTop)-start {
			from = t0
		}
	}
	half := float64(w+1)*dt + t.clock*(at-from)
	a.feature("pull_in_time", quantity.Second, at-from, measure.Combine(half, start-t.s.T(ramp.BaseTo)))
	a.feature("pull_in_current", quantity.Ampere, y[bestTop], measure.Combine(t.rating(y[bestTop]), t.step(), 2*t.noise/math.Sqrt(float64(2*w+1))))
	a.mark(at, y[bestDip], "armature has arrived")
}

// dropOut looks for the swell in the fall. Own choice, no source: as pullIn,
// with 1 % of the current, as the swell is smaller than the dip.
func (a *analyst) dropOut(t *trace, hi float64, start, off int) {
	last := off
	for last < t.s.Len() && t.s.Y[last] > 0.05*hi {
		last++
	}
	if last-start < 8 {
		a.note("The coil's current falls within %d samples: the drop-out cannot be seen.", last-start)
		return
	}
	w := max(0, (last-start)/40)
	y := smooth(t.s.Y, w)
	least := math.Max(0.01*hi, 5*t.noise/math.Sqrt(float64(2*w+1)))
	low, at, swell := math.Inf(1), 0, 0.0
	for i := start; i < min(t.s.Len(), last+(last-start)); i++ {
		low = math.Min(low, y[i])
		if d := y[i] - low; d > swell {
			swell, at = d, i
		}
	}
	if swell < least {
		a.note("The coil's current falls without a swell: the drop-out cannot be seen.")
		return
	}
	a.feature("drop_out_time", quantity.Second, t.s.T(at)-t.s.T(start), float64(w+2)*t.s.Interval())
	a.mark(t.s.T(at), t.s.Y[at], "armature has left")
}
