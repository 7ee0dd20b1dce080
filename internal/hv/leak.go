package hv

import (
	"fmt"
	"math"
)

// A Leak is a single leak from somewhere along a string to chassis.
type Leak struct {
	Fraction Estimate // part of the source's voltage, counted from its negative pole
	Ohms     Estimate // Ω
}

// LeakAlong tells where along the string one leak sits, from the pole
// voltages to chassis, V, and both poles in parallel, Ω. The chassis takes the
// potential that all paths to it agree on; with conductances to chassis g_p
// and g_n that were there before, and g_x of the leak at the fraction x,
//
//	e = V1/(V1 + V2) = (g_p + x·g_x)/(g_p + g_n + g_x)
//
// so that x = (G·e − g_p)/(G − g_p − g_n), G being both poles in parallel. One
// meter that is moved from pole to pole loads both readings alike and cancels
// in e. Without a background the leak is all there is: x = e. Two leaks read
// as one between them.
func LeakAlong(v1, v2 Uncertain, both Estimate, background *Poles) (Leak, error) {
	if !v1.valid() || !v2.valid() || v1.X < 0 || v2.X < 0 || v1.X+v2.X <= v1.U+v2.U {
		return Leak{}, &Contradiction{ZeroReading, "the pole voltages to chassis are nought within their uncertainty",
			"without a leak there is nothing to find"}
	}
	gp, gn := 0.0, 0.0
	if background != nil {
		gp, gn = 1/background.Positive, 1/background.Negative
	}
	in := []Uncertain{v1, v2, {both.X, both.U}}
	place := func(x []float64) (fraction, conductance float64) {
		g, e := 1/x[2], x[0]/(x[0]+x[1])
		if background == nil {
			return e, g
		}
		return (g*e - gp) / (g - gp - gn), g - gp - gn
	}
	if _, g := place([]float64{v1.X, v2.X, both.X - both.U}); g <= 0 {
		return Leak{}, &Contradiction{NoLeak, "the background alone accounts for what is measured", "there is no leak beside it to be found"}
	}
	leak := Leak{
		Fraction: propagate(in, func(x []float64) float64 { f, _ := place(x); return f }),
		Ohms: propagate(in, func(x []float64) float64 {
			if _, g := place(x); g > 0 {
				return 1 / g
			}
			return math.Inf(1)
		}),
	}
	if f := leak.Fraction; f.X+f.U < 0 || f.X-f.U > 1 || math.IsNaN(f.X) {
		return Leak{}, &Contradiction{NotOnString, fmt.Sprintf("the leak would sit at %.0f %% of the string", 100*f.X),
			"the background is not what it was, or there is more than one leak"}
	}
	return leak, nil
}
