package plot

import (
	"math"
	"strconv"

	"hvproof/internal/quantity"
)

// An axis maps values to points and names its ticks.
type axis struct {
	lo, hi   float64 // values at the ends
	from, to float64 // points at the ends
	ticks    []float64
	unit     float64 // value of one of the unit shown
	label    string
}

func (a axis) at(x float64) float64 {
	return a.from + (x-a.lo)/(a.hi-a.lo)*(a.to-a.from)
}

// prefixes in which axes are labelled.
var prefixes = []struct {
	factor float64
	text   string
}{{1e3, "k"}, {1, ""}, {1e-3, "m"}, {1e-6, "µ"}, {1e-9, "n"}}

// newAxis lays an axis over lo to hi. Time in seconds has no kilo.
func newAxis(lo, hi float64, dim quantity.Dim, name string, most int) axis {
	if !(hi > lo) {
		room := math.Max(math.Abs(lo)*0.05, 1e-9)
		lo, hi = lo-room, hi+room
	}
	a := axis{lo: lo, hi: hi, unit: 1}
	top := math.Max(math.Abs(lo), math.Abs(hi))
	symbol, _ := dim.Unit()
	if dim == quantity.One {
		symbol = ""
	}
	for _, p := range prefixes {
		if top >= 1.5*p.factor && !(p.factor > 1 && (dim == quantity.Second || top < 1e4)) && symbol != "" {
			a.unit, symbol = p.factor, p.text+symbol
			break
		}
	}
	a.label = name
	if symbol != "" {
		a.label += " (" + symbol + ")"
	}
	step := nice((hi - lo) / float64(most))
	for k := math.Ceil(lo/step - 1e-9); k*step <= hi+1e-9*step && len(a.ticks) < 50; k++ {
		a.ticks = append(a.ticks, k*step)
	}
	return a
}

// nice gives the next of 1, 2, 5 times a power of ten.
func nice(x float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(x)))
	for _, m := range []float64{1, 2, 5} {
		if m*p >= x*(1-1e-9) {
			return m * p
		}
	}
	return 10 * p
}

// name gives a tick as printed.
func (a axis) name(x float64) string {
	v := x / a.unit
	if math.Abs(v) < 1e-9*math.Max(math.Abs(a.lo), math.Abs(a.hi))/a.unit {
		v = 0
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}
