package measure

import (
	"fmt"
	"math"

	"hvproof/internal/quantity"
)

// A Capability says, before the test, what a function can do for a bound.
type Capability struct {
	// Decides: a reading as expected would pass; without an expected window,
	// some reading would.
	Decides bool
	// Hopeless: no reading of this function could pass.
	Hopeless bool
	// Why is one sentence; empty only if it decides with room to spare.
	Why string
	// AcceptFrom and AcceptTo enclose the readings that pass, as displayed,
	// SI; infinite on a side where the bound is open. Every reading between
	// passes. Both NaN if hopeless.
	AcceptFrom, AcceptTo float64
	// NeededU is the largest uncertainty, at a reading of NeededAt, by which
	// the bound could be decided, SI; 0 if none could or none is needed.
	NeededU, NeededAt float64
	// Needed says the same in words; "" if nothing is needed.
	Needed string
}

// tightRoom is the share of what the bound allows below which a meter's
// uncertainty is said to leave little room.
const tightRoom = 0.5

// CanDecide says whether a function can decide a bound, and whether it would
// by readings in the expected window, if there is one.
func CanDecide(f Function, b quantity.Bound, expected *quantity.Bound, rule Rule) Capability {
	hopeless := Capability{Hopeless: true, AcceptFrom: math.NaN(), AcceptTo: math.NaN()}
	if err := f.check(); err != nil {
		hopeless.Why = err.Error()
		return hopeless
	}
	if w := malformed(Reading{Dim: f.Dim}, b, rule); w != nil {
		hopeless.Why = w.Sentence
		return hopeless
	}
	if expected != nil && (expected.Dim != b.Dim || expected.Kind != quantity.Expected || !finite(expected.Low) || !finite(expected.High) || expected.Low > expected.High) {
		hopeless.Why = "the expected window is not one of this quantity"
		return hopeless
	}
	accept := f.accepted(b, rule)
	if len(accept) == 0 {
		hopeless.Why = fmt.Sprintf("no reading of %s can pass: %s", f.Name, b)
		hopeless.need(f, b, expected)
		return hopeless
	}
	a := choose(accept, expected)
	c := Capability{Decides: true, AcceptFrom: a.from, AcceptTo: a.to}
	c.expect(f, b, expected)
	c.open(f, b, a)
	return c
}

// open replaces the ends of the display by infinity where the bound is open
// and the display's end passes.
func (c *Capability) open(f Function, b quantity.Bound, a span) {
	top := f.Ranges[len(f.Ranges)-1]
	last := top.To // less than one count below the top is the top
	if top.Digit > 0 {
		last = math.Nextafter(top.To-top.Digit, top.To)
	}
	switch {
	case b.Kind == quantity.AtLeast && a.to >= last:
		c.AcceptTo = math.Inf(1)
	case b.Kind == quantity.AtMost && (a.from <= -last || neverNegative(f.Dim) && a.from <= 0):
		c.AcceptFrom = math.Inf(-1)
	}
}

// expect sets Decides, Why and Needed by what is expected.
func (c *Capability) expect(f Function, b quantity.Bound, e *quantity.Bound) {
	from, to := f.text(c.AcceptFrom), f.text(c.AcceptTo)
	passes := "readings from " + from + " to " + to
	switch b.Kind {
	case quantity.AtLeast:
		passes = "readings of at least " + from
	case quantity.AtMost:
		passes = "readings of at most " + to
	}
	if e == nil {
		if room := c.room(b); room < tightRoom {
			c.Why = fmt.Sprintf("leaves little room: only %s pass", passes)
		}
		return
	}
	inside := e.Low >= c.AcceptFrom && e.High <= c.AcceptTo
	meets := e.High >= c.AcceptFrom && e.Low <= c.AcceptTo
	reaches := !b.Contains(e.Low) || !b.Contains(e.High)
	switch {
	case b.Kind == quantity.AtLeast && e.Low >= c.AcceptFrom, b.Kind == quantity.AtMost && e.High <= c.AcceptTo, inside:
		if room := c.room(b); room < tightRoom {
			c.Why = fmt.Sprintf("leaves little room: only %s pass", passes)
		}
	case reaches && meets:
		c.Why = fmt.Sprintf("what is expected (%s) reaches beyond the limit itself (%s); only %s pass", e, b, passes)
	default:
		c.Decides = false
		c.Why = fmt.Sprintf("cannot decide: only %s pass, and %s", passes, e)
		c.need(f, b, e)
	}
}

// room gives the share of the allowed readings that pass; for an open bound,
// the limit against the first reading that passes.
func (c *Capability) room(b quantity.Bound) float64 {
	switch b.Kind {
	case quantity.AtLeast:
		if b.Low > 0 {
			return b.Low / c.AcceptFrom
		}
	case quantity.AtMost, quantity.MagnitudeAtMost:
		if b.High > 0 {
			return c.AcceptTo / b.High
		}
	case quantity.Between:
		if b.High > b.Low {
			return (c.AcceptTo - c.AcceptFrom) / (b.High - b.Low)
		}
	}
	return 1
}

// need says what uncertainty would do.
func (c *Capability) need(f Function, b quantity.Bound, e *quantity.Bound) {
	var at, u float64
	if e != nil {
		at = e.Low
		if margin(e.High, b) < margin(e.Low, b) {
			at = e.High
		}
		u = margin(at, b)
	} else {
		switch b.Kind {
		case quantity.AtLeast:
			c.Needed = fmt.Sprintf("a meter that shows more than %s, by its uncertainty there", f.text(b.Low))
			return
		case quantity.AtMost, quantity.MagnitudeAtMost:
			at, u = 0, b.High
		default:
			at, u = (b.Low+b.High)/2, (b.High-b.Low)/2
		}
	}
	if !(u > 0) {
		c.Needed = "no meter could: what is expected does not meet the limit"
		return
	}
	c.NeededAt, c.NeededU = at, u
	c.Needed = fmt.Sprintf("a meter with an uncertainty of at most %s at %s",
		quantity.Format(quantity.Value{SI: u, Dim: f.Dim}, 4, quantity.RoundDown), f.text(at))
}
