package fit

import "math"

// A Ramp is where a signal leaves its first level for a far one.
type Ramp struct {
	Up         bool
	Base       float64 // level before; only meaningful if Seen
	BaseSE     float64
	Seen       bool    // there are samples of the level before
	Far        float64 // the farthest level reached
	BaseTo     int     // samples before this one are the level before
	From       int     // first sample that has surely left it
	Half, Most int     // first samples at half and at nine tenths of the way
}

// Onset finds the first departure of a signal from its first level, in the
// direction in which it goes farthest. ok is false if it stays.
func Onset(s Samples) (Ramp, bool) {
	noise := math.Hypot(s.Noise(), s.Quantum()/math.Sqrt(12))
	first, ok := s.Slice(0, max(3, min(9, s.Len()/50))).Median()
	if !ok {
		return Ramp{}, false
	}
	lo, _ := s.Quantile(0.002)
	hi, _ := s.Quantile(0.998)
	if s.Len() < 1000 {
		lo, _ = s.Quantile(0)
		hi, _ = s.Quantile(1)
	}
	r := Ramp{Up: hi-first >= first-lo, Far: hi}
	if !r.Up {
		r.Far = lo
	}
	way := r.Far - first
	if math.Abs(way) < math.Max(8*noise, 1e-9*math.Abs(first)) || way == 0 {
		return Ramp{}, false
	}
	part := func(y float64) float64 { return (y - first) / way }
	r.Half = firstBeyond(s, 0, 0.5, part)
	r.Most = firstBeyond(s, r.Half, 0.9, part)
	least := math.Max(0.05, 5*noise/math.Abs(way))
	r.From = r.Half
	for r.From > 0 && !(part(s.Y[r.From-1]) < least) {
		r.From--
	}
	margin := max(1, (r.Half-r.From)/6)
	r.BaseTo = max(0, r.From-margin)
	if r.BaseTo >= 3 {
		base := s.Slice(0, r.BaseTo)
		r.Base, r.BaseSE, r.Seen = base.Level()
		if head, _, ok := base.Slice(0, base.Len()/2).Level(); ok && math.Abs(head-r.Base) > 0.02*math.Abs(way)+4*noise {
			r.Seen = false // still moving: no level
		}
	}
	if !r.Seen {
		r.Base = first
	}
	return r, true
}

func firstBeyond(s Samples, from int, level float64, part func(float64) float64) int {
	for i := from; i < s.Len(); i++ {
		if part(s.Y[i]) >= level {
			return i
		}
	}
	return s.Len() - 1
}
