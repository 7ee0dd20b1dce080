package feature

import (
	"math"
	"slices"

	"hvproof/internal/capture/fit"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// loadAmps is the current from which a contactor counts as opened under load,
// A. Own choice, no source: above the zero of a clamp and what a DC-DC
// converter draws at rest, far below driving.
const loadAmps = 5

// An element is one link of the chain from the trip to the dead link.
type element struct {
	role   string
	t      *trace
	before float64 // level before the trip
	after  float64 // level at the end
	off    float64 // s, half way between the two
	start  float64 // s, leaves the level before
	end    float64 // s, arrives
	edge   bool    // it changed
}

func (a *analyst) emergencyOff() {
	link := a.traces[RoleLink]
	a.out.Picture.Shown = append(shown(link), others(a.order)...)
	trip, tripped := a.tripTime()
	if !tripped {
		a.note("No channel shows the trip, or it does not change: latencies cannot be counted from it. Name the channel: --channel trip=COLUMN.")
	}
	chain := a.chain(trip, tripped)
	for _, e := range chain {
		if e.edge && tripped {
			a.feature("latency."+e.role, quantity.Second, e.off-trip, a.edgeU(e))
		}
	}
	a.inOrder(chain, trip, tripped)
	a.stuck(chain)
	a.underLoad(chain)
	if link != nil && a.enough(link) {
		a.linkAfter(trip, tripped, chain)
	}
}

func others(order []string) []string {
	var out []string
	for _, r := range order {
		if r != RoleLink {
			out = append(out, r)
		}
	}
	return out
}

// tripTime gives the first change of the trip input.
func (a *analyst) tripTime() (float64, bool) {
	t := a.traces[RoleTrip]
	if t == nil {
		return 0, false
	}
	edges, _, _, ok := fit.Edges(t.s)
	if !ok || len(edges) == 0 {
		return 0, false
	}
	return edges[0].T, true
}

// chain measures every element but the link.
func (a *analyst) chain(trip float64, tripped bool) []element {
	var out []element
	for _, role := range a.order {
		base := baseRole(role)
		if base != RoleCoil && base != RoleMain && base != RoleCurrent {
			continue
		}
		out = append(out, measureElement(role, a.traces[role], trip, tripped))
	}
	rank := map[string]int{RoleCoil: 0, RoleMain: 1, RoleCurrent: 2}
	slices.SortStableFunc(out, func(x, y element) int { return rank[baseRole(x.role)] - rank[baseRole(y.role)] })
	return out
}

// measureElement finds the change from the level before the trip to the one
// at the end of the recording.
func measureElement(role string, t *trace, trip float64, tripped bool) element {
	e := element{role: role, t: t}
	n := t.s.Len()
	head := max(3, n/50)
	if tripped {
		head = max(3, min(n/50, t.s.Index(trip)-2))
	}
	e.before, _ = t.s.Slice(0, head).Median()
	e.after, _ = t.s.Slice(n-max(3, n/50), n).Median()
	way := e.after - e.before
	lo, hi := t.limits()
	// Own choice, no source: ten times the noise is no accident, and less than
	// a third of all that the channel does is not its switching.
	if math.Abs(way) < math.Max(10*t.noise, 0.3*(hi-lo)) || way == 0 {
		return e
	}
	e.edge = true
	part := func(i int) float64 { return (t.s.Y[i] - e.before) / way }
	cross := func(level float64, from int) (float64, int) {
		for i := max(1, from); i < n; i++ {
			if p := part(i); p >= level {
				q := part(i - 1)
				if q < level && p > q {
					return t.s.T(i-1) + (level-q)/(p-q)*(t.s.T(i)-t.s.T(i-1)), i
				}
				return t.s.T(i), i
			}
		}
		return t.s.T(n - 1), n - 1
	}
	var i int
	e.off, i = cross(0.5, 0)
	e.end, _ = cross(0.95, i)
	for i > 0 && part(i) > math.Max(0.1, 4*t.noise/math.Abs(way)) {
		i--
	}
	e.start = t.s.T(i)
	return e
}

func (a *analyst) edgeU(e element) float64 {
	dt := e.t.s.Interval()
	if tr := a.traces[RoleTrip]; tr != nil {
		dt = math.Max(dt, tr.s.Interval())
	}
	return measure.Combine(dt, dt)
}

// inOrder tells elements that did not follow each other.
func (a *analyst) inOrder(chain []element, trip float64, tripped bool) {
	said := func(earlier string, te float64, later string, tl, dt float64) {
		if te > tl+2*dt {
			a.find("wrong-order", "%s changed %s before %s: it did not follow from it. Something else switched, or the channels are mixed up; find out which before trusting this emergency-off.", later, seconds(te-tl), earlier)
		}
	}
	coil := -1
	for i, e := range chain {
		if !e.edge {
			continue
		}
		dt := e.t.s.Interval()
		base := baseRole(e.role)
		if tripped && base != RoleCurrent {
			said("the trip", trip, e.role, e.off, dt)
		}
		switch {
		case base == RoleCoil && coil < 0:
			coil = i
		case base == RoleMain && coil >= 0:
			said("the coil", chain[coil].start, e.role, e.off, dt)
		}
	}
}

// stuck tells contactors that did not open.
func (a *analyst) stuck(chain []element) {
	for _, e := range chain {
		switch base := baseRole(e.role); {
		case base == RoleMain && !e.edge:
			a.find("contactor-stuck", "%s did not change: the contactor did not open, or its signal does not show it. Keep away; open the service disconnect, prove dead, and do the weld check.", e.role)
		case base == RoleCurrent && !e.edge && math.Abs(e.before) > math.Max(loadAmps, 10*e.t.noise):
			a.find("contactor-stuck", "The current of %s (%s) went on to the end of the recording: no contactor broke it. Keep away; open the service disconnect, prove dead, and do the weld check.", amperes(e.before), e.role)
		}
	}
}

// underLoad tells a current that was broken, and its arc.
func (a *analyst) underLoad(chain []element) {
	for _, e := range chain {
		if baseRole(e.role) != RoleCurrent || !e.edge {
			continue
		}
		open, by := e.start, "the current's own fall"
		for _, m := range chain {
			if baseRole(m.role) == RoleMain && m.edge {
				open, by = m.start, m.role
			}
		}
		i := e.t.s.Index(open)
		y, u, ok := e.t.level(i-min(9, max(2, i)), i)
		if !ok {
			continue
		}
		a.feature("current_at_opening", quantity.Ampere, y, measure.Combine(u, e.t.rating(y)))
		if math.Abs(y) > math.Max(loadAmps, 10*e.t.noise) {
			a.find("opened-under-load", "The contactor opened with %s flowing (by %s). It is made to do that only a few times: count it, look at its contacts, and find out why the drive did not stop first.", amperes(y), by)
		}
		dt := e.t.s.Interval()
		if arc := e.end - math.Max(e.start, open); arc > 3*dt && math.Abs(y) > loadAmps {
			a.feature("arc_duration", quantity.Second, arc, measure.Combine(dt, dt, 0.06*arc)) // from 10 to 95 %
		}
	}
}

// linkAfter gives the link's fall, counted from the trip.
func (a *analyst) linkAfter(trip float64, tripped bool, chain []element) {
	f := &fall{analyst: a, link: a.traces[RoleLink], name: "trip_to_60V"}
	if !f.begin() {
		if y, _ := f.link.s.Median(); y > lowVolts && len(chain) == 0 {
			a.find("contactor-stuck", "The link stayed at %s after the trip: a contactor did not open, or the link has no discharge. Keep away; open the service disconnect, prove dead, and do the weld check.", volts(y))
		}
		return
	}
	f.fit()
	switch {
	case tripped:
		f.from, f.fromU = trip, f.link.s.Interval()/2
		a.mark(trip, f.ramp.Base, "trip")
		f.late("the trip")
		if f.t0Seen {
			a.feature("latency.dc_link", quantity.Second, f.t0-trip, f.time(measure.Combine(f.t0U, f.fromU), 0))
			if f.t0 < trip-2*f.link.s.Interval()-f.t0U {
				a.find("wrong-order", "The link began to fall %s before the trip: something else opened. Find out what before trusting this emergency-off.", seconds(trip-f.t0))
			}
		}
	default:
		f.name = "time_to_60V"
		f.opening()
	}
	f.numbers()
	f.held()
}
