package fit

import "math"

// An Edge is a change of a signal between its two levels.
type Edge struct {
	I     int     // first sample beyond the middle
	T     float64 // s, at half height
	Start float64 // s, where the change begins to leave its level (a tenth)
	End   float64 // s, where it has arrived (nine tenths)
	Up    bool
}

// Edges gives the changes of a signal that has two levels, such as a switch
// input or a coil voltage. ok is false if two levels cannot be told apart.
func Edges(s Samples) (edges []Edge, low, high float64, ok bool) {
	low, _ = s.Quantile(0.002)
	high, ok = s.Quantile(0.998)
	if short := s.Len() < 1000; ok && short {
		low, _ = s.Quantile(0)
		high, _ = s.Quantile(1)
	}
	if span := high - low; !ok || span <= 0 || span < 10*s.Noise() {
		return nil, low, high, false
	}
	mid, band := (low+high)/2, 0.2*(high-low)
	state := 0 // −1 low, 1 high
	for i, y := range s.Y {
		now := state
		switch {
		case y < mid-band:
			now = -1
		case y > mid+band:
			now = 1
		}
		if state != 0 && now != state {
			edges = append(edges, s.edge(i, now > 0, low, high))
		}
		state = now
	}
	return edges, low, high, true
}

// edge measures the change that has arrived at sample i.
func (s Samples) edge(i int, up bool, low, high float64) Edge {
	span := high - low
	at := func(part float64, from, step int) float64 {
		level := low + part*span
		for k := from; k >= 1 && k < len(s.Y); k += step {
			a, b := s.Y[k-1], s.Y[k]
			if (a <= level && level <= b) || (b <= level && level <= a) {
				if a == b {
					return s.T(k)
				}
				return s.T(k-1) + (level-a)/(b-a)*(s.T(k)-s.T(k-1))
			}
		}
		return s.T(i)
	}
	e := Edge{I: i, Up: up}
	first, last := 0.1, 0.9
	if !up {
		first, last = last, first
	}
	e.T, e.Start, e.End = at(0.5, i, -1), at(first, i, -1), at(last, i, 1)
	return e
}

// Crossing gives the time at which a signal passes a level for the first
// time after sample from and stays beyond it for the samples used, with its
// standard error. The line is fitted to the logarithm where the signal is
// positive, so that a decay is straight.
func Crossing(s Samples, from int, level float64, up bool) (t, se float64, ok bool) {
	noise := math.Hypot(s.Noise(), s.Quantum()/math.Sqrt(12))
	beyond := func(y float64) bool { return (up && y >= level) || (!up && y <= level) }
	hold := 1
	if noise > 0 {
		hold = 5
	}
	i := max(0, from)
	for run := 0; i < s.Len(); i++ {
		if y := s.Y[i]; y == y {
			if beyond(y) {
				if run++; run >= hold {
					break
				}
			} else {
				run = 0
			}
		}
	}
	if i >= s.Len() {
		return 0, 0, false
	}
	// The window: a tenth of the level to both sides, or six times the noise.
	room := math.Max(0.1*math.Abs(level), 6*noise)
	lo, hi := i, i
	for lo > max(1, from) && !(math.Abs(s.Y[lo-1]-level) > room) {
		lo--
	}
	for hi+1 < s.Len() && !(math.Abs(s.Y[hi+1]-level) > room) && hi-i < i-lo+8 {
		hi++
	}
	t, se, ok = lineCrossing(s, lo, hi+1, level, noise)
	if !ok || t < s.T(max(0, lo-1)) || t > s.T(min(hi+1, s.Len()-1)) {
		t, se = s.T(i), s.Interval()
	}
	return t, se, true
}

func lineCrossing(s Samples, from, to int, level, noise float64) (t, se float64, ok bool) {
	logs := level > 0
	for i := from; i < to; i++ {
		logs = logs && !(s.Y[i] <= 0)
	}
	f := func(y float64) float64 { return y - level }
	unit := 1.0
	if logs {
		f = func(y float64) float64 { return math.Log(y / level) }
		unit = 1 / level
	}
	var m sums
	t0 := s.T(from)
	for i := from; i < to; i++ {
		if y := s.Y[i]; y == y {
			m.add(1, s.T(i)-t0, f(y))
		}
	}
	if m.n < 3 {
		return 0, 0, false
	}
	a, b, rss := m.line()
	if b == 0 {
		return 0, 0, false
	}
	sd := math.Max(noise*unit, math.Sqrt(rss/math.Max(1, m.n-2)))
	return t0 - a/b, sd / math.Sqrt(m.n) / math.Abs(b), true
}
