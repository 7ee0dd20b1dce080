package feature

import (
	"math"
	"slices"
	"sort"

	"hvproof/internal/capture"
	"hvproof/internal/plot"
)

// Span gives the time that the shown channels of a capture cover, s, and the
// number of samples of the longest.
func Span(w *capture.Waveform, a *Analysis) (from, to float64, samples int) {
	from, to = math.Inf(1), math.Inf(-1)
	for _, r := range a.Roles {
		if x := w.Channels[r.Index].Axis; x.Len() > 0 && slices.Contains(a.Picture.Shown, r.Role) {
			from, to, samples = math.Min(from, x.At(0)), math.Max(to, x.End()), max(samples, x.Len())
		}
	}
	return from, to, samples
}

// ChartWithin is Chart between two times, s. Of the samples in between least
// and greatest are kept as in the whole, so that the closer the view, the
// finer the curve. Levels that lie outside of what the curves of a panel reach
// in the view are left out.
func ChartWithin(title string, w *capture.Waveform, a *Analysis, from, to float64) plot.Chart {
	c := chart(title, w, a, func(ch *capture.Channel) []plot.Point { return pointsWithin(ch, from, to) })
	c.From, c.To = from, to
	for i := range c.Panels {
		p := &c.Panels[i]
		lo, hi := math.Inf(1), math.Inf(-1)
		for k := range p.Series {
			s := &p.Series[k]
			if s.Style == plot.Dashed || s.Style == plot.Dotted {
				continue
			}
			for _, q := range s.Points {
				if !math.IsNaN(q.Y) {
					lo, hi = math.Min(lo, q.Y), math.Max(hi, q.Y)
				}
			}
		}
		p.Levels = slices.DeleteFunc(p.Levels, func(l plot.Level) bool { return l.Y < lo || l.Y > hi })
	}
	if len(c.Panels) > 0 {
		for i, curve := range a.Picture.Curves {
			curve.From, curve.To = math.Max(curve.From, from), math.Min(curve.To, to)
			at := len(c.Panels[0].Series) - len(a.Picture.Curves) + i
			c.Panels[0].Series[at].Points = nil
			if curve.From < curve.To {
				c.Panels[0].Series[at].Points = sampled(curve)
			}
		}
	}
	return c
}

// pointsWithin gives a channel's points between two times, and where the curve
// crosses them.
func pointsWithin(ch *capture.Channel, from, to float64) []plot.Point {
	n := ch.Axis.Len()
	first := sort.Search(n, func(i int) bool { return ch.Axis.At(i) >= from })
	past := sort.Search(n, func(i int) bool { return ch.Axis.At(i) > to })
	var out []plot.Point
	cross := func(i int, t float64) {
		if i < 1 || i >= n || math.IsNaN(ch.V[i-1]) || math.IsNaN(ch.V[i]) {
			return
		}
		a, b := ch.Axis.At(i-1), ch.Axis.At(i)
		if a < t && t < b {
			out = append(out, plot.Point{X: t, Y: ch.V[i-1] + (ch.V[i]-ch.V[i-1])*(t-a)/(b-a)})
		}
	}
	cross(first, from)
	for _, i := range capture.Decimate(ch.V[first:past], drawn) {
		out = append(out, plot.Point{X: ch.Axis.At(first + i), Y: ch.V[first+i]})
	}
	cross(past, to)
	return out
}
