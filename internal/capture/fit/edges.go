package fit

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
