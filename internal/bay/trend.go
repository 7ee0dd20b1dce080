package bay

import (
	"math"
	"time"

	"hvproof/internal/quantity"
)

// A point is one reading in a trend.
type point struct {
	at    time.Time
	value float64 // SI
	u     float64 // expanded uncertainty, SI
	dim   quantity.Dim
	side  string // "above" or "below" where it is one-sided
	bad   bool
	limit *quantity.Bound
}

// A trend is a step's readings over time with the limit that each was held
// against, as coordinates of a drawing of trendWidth × trendHeight.
type trend struct {
	Width, Height int
	Marks         []trendMark
	Limits        []segment
	Line          []segment
	Ticks         []tick
	From, To      string
	Log           bool
}

type trendMark struct {
	X, Y, Top, Bottom float64
	Bad               bool
	Side              string
	Label             string
}

type segment struct{ X1, Y1, X2, Y2 float64 }

type tick struct {
	Y    float64
	Text string
}

const (
	trendWidth, trendHeight = 720, 300
	trendLeft, trendRight   = 110, 24
	trendTop, trendBottom   = 20, 36
)

// newTrend draws readings in the order in which they were taken, equally far
// apart: a shop reads twice in an hour and then not for a year. Values that
// span more than two decades are drawn on a logarithmic scale. It is nil for
// less than two readings.
func newTrend(points []point) *trend {
	if len(points) < 2 {
		return nil
	}
	low, high := math.Inf(1), math.Inf(-1)
	span := func(x float64) {
		if !math.IsInf(x, 0) && !math.IsNaN(x) {
			low, high = math.Min(low, x), math.Max(high, x)
		}
	}
	for _, p := range points {
		span(p.value - p.u)
		span(p.value + p.u)
		if p.limit != nil {
			for _, x := range limitsOf(*p.limit) {
				span(x)
			}
		}
	}
	t := &trend{Width: trendWidth, Height: trendHeight, Log: low > 0 && high/low > 100,
		From: points[0].at.UTC().Format("2006-01-02 15:04"), To: points[len(points)-1].at.UTC().Format("2006-01-02 15:04")}
	scale := func(x float64) float64 { return x }
	if t.Log {
		scale = math.Log10
	}
	a, b := scale(low), scale(high)
	if a == b {
		a, b = a-1, b+1
		if !t.Log {
			a, b = low-math.Max(math.Abs(low)/10, 1e-12), high+math.Max(math.Abs(high)/10, 1e-12)
		}
	}
	room := (b - a) * 0.08
	a, b = a-room, b+room
	y := func(v float64) float64 {
		if t.Log && v <= 0 {
			return trendHeight - trendBottom
		}
		at := trendTop + (b-scale(v))/(b-a)*(trendHeight-trendTop-trendBottom)
		return math.Round(10*math.Min(math.Max(at, trendTop), trendHeight-trendBottom)) / 10
	}
	step := float64(trendWidth-trendLeft-trendRight) / float64(len(points))
	x := func(i float64) float64 { return math.Round(10*(trendLeft+step*i)) / 10 }
	for i, p := range points {
		m := trendMark{X: x(float64(i) + .5), Y: y(p.value), Top: y(p.value + p.u), Bottom: y(p.value - p.u), Bad: p.bad, Side: p.side,
			Label: quantity.Value{SI: p.value, Dim: p.dim}.String()}
		if i > 0 {
			t.Line = append(t.Line, segment{t.Marks[i-1].X, t.Marks[i-1].Y, m.X, m.Y})
		}
		t.Marks = append(t.Marks, m)
		if p.limit != nil {
			for _, l := range limitsOf(*p.limit) {
				t.Limits = append(t.Limits, segment{x(float64(i)), y(l), x(float64(i + 1)), y(l)})
			}
		}
	}
	for _, v := range ticksBetween(a, b) {
		if t.Log {
			v = math.Pow(10, v)
		}
		t.Ticks = append(t.Ticks, tick{y(v), quantity.Format(quantity.Value{SI: v, Dim: points[0].dim}, 3, quantity.RoundNearest)})
	}
	return t
}

// ticksBetween gives round values between two: three to eight of them.
func ticksBetween(a, b float64) []float64 {
	step := math.Pow(10, math.Floor(math.Log10((b-a)/3)))
	for _, k := range []float64{5, 2} {
		if (b-a)/(step*k) >= 3 {
			step *= k
			break
		}
	}
	var out []float64
	for k := math.Ceil(a / step); k*step <= b; k++ {
		out = append(out, k*step)
	}
	return out
}

// limitsOf gives the values at which a limit lies.
func limitsOf(b quantity.Bound) []float64 {
	switch b.Kind {
	case quantity.AtLeast:
		return []float64{b.Low}
	case quantity.AtMost:
		return []float64{b.High}
	case quantity.MagnitudeAtMost:
		return []float64{b.High, -b.High}
	}
	return []float64{b.Low, b.High}
}
