package hv

import "math"

// A Source is a pack as its terminals show it: an open-circuit voltage, V,
// behind a resistance, Ω.
type Source struct{ Volts, Ohms float64 }

// Share gives the currents, A, of packs that feed a load together, and the
// voltage of the bus, V. The node equation of Kirchhoff for n branches:
//
//	bus = (Σ V_i/R_i − I) / Σ 1/R_i      I_i = (V_i − bus)/R_i
//
// Without load the currents are those that equalise the packs; a negative one
// charges its pack. Every resistance must be above nought.
func Share(packs []Source, load float64) (currents []float64, bus float64) {
	g, injected := 0.0, 0.0
	for _, p := range packs {
		g += 1 / p.Ohms
		injected += p.Volts / p.Ohms
	}
	bus = (injected - load) / g
	for _, p := range packs {
		currents = append(currents, (p.Volts-bus)/p.Ohms)
	}
	return currents, bus
}

// PacksInParallel is Share for two packs.
func PacksInParallel(v1, r1, v2, r2, load float64) (i1, i2, bus float64) {
	currents, bus := Share([]Source{{v1, r1}, {v2, r2}}, load)
	return currents[0], currents[1], bus
}

// Part gives the part of a load's current that branch i of packs of equal
// voltage carries, (1/R_i) / Σ 1/R: exactly 1 for the only one. Dividing by the
// number of packs is right only for equal resistances. A pack of limit A is
// reached at a total of limit / part.
func Part(ohms []float64, i int) float64 {
	g := 0.0
	for _, r := range ohms {
		g += 1 / r
	}
	return 1 / ohms[i] / g
}

// A Store is a pack whose voltage follows its charge: Farads is the charge,
// C, that lowers its open-circuit voltage by 1 V. Taken as constant, it is
// the capacity over the whole swing of the voltage.
type Store struct {
	Source
	Farads float64
}

// Equalise gives the first current of each pack, A, when packs of different
// voltage are joined at rest, and after which time, s, none is above part of
// the largest first one. There is no RC end of milliseconds as with a
// capacitor: the difference decays with state of charge,
//
//	dV_i/dt = −I_i/C_i      I_i = (V_i − bus)/R_i
//
// solved by steps (Runge and Kutta, fourth order). The time is infinite if it
// lies beyond a hundred of the slowest time constants. Packs without any
// difference have no current and need no time.
func Equalise(packs []Store, part float64) (first []float64, seconds float64) {
	n := len(packs)
	volts, sources := make([]float64, n), make([]Source, n)
	fastest, slowest := math.Inf(1), 0.0
	for i, p := range packs {
		volts[i] = p.Volts
		fastest = math.Min(fastest, p.Ohms*p.Farads)
		slowest = math.Max(slowest, p.Ohms*p.Farads)
	}
	currents := func(v []float64) []float64 {
		for i, p := range packs {
			sources[i] = Source{v[i], p.Ohms}
		}
		i, _ := Share(sources, 0)
		return i
	}
	first = currents(volts)
	began := largest(first)
	if began == 0 {
		return first, 0
	}
	slope := func(v []float64) []float64 {
		d := currents(v)
		for i := range d {
			d[i] /= -packs[i].Farads
		}
		return d
	}
	step := fastest / 20
	// The product of n decaying modes needs no more than this; it also ends
	// the loop for packs that differ by decades.
	for before, t := began, 0.0; t < 100*float64(n)*slowest && t < 1e7*step; t += step {
		rungeKutta(volts, step, slope)
		now := largest(currents(volts))
		if now <= part*began {
			// Between two steps the current falls exponentially.
			return first, t + step*math.Log(before/(part*began))/math.Log(before/now)
		}
		before = now
	}
	return first, math.Inf(1)
}

func largest(x []float64) float64 {
	m := 0.0
	for _, v := range x {
		m = math.Max(m, math.Abs(v))
	}
	return m
}

// rungeKutta takes one step of the classical fourth order.
func rungeKutta(x []float64, h float64, slope func([]float64) []float64) {
	shifted := func(k []float64, by float64) []float64 {
		y := make([]float64, len(x))
		for i := range x {
			y[i] = x[i] + by*k[i]
		}
		return y
	}
	k1 := slope(x)
	k2 := slope(shifted(k1, h/2))
	k3 := slope(shifted(k2, h/2))
	k4 := slope(shifted(k3, h))
	for i := range x {
		x[i] += h / 6 * (k1[i] + 2*k2[i] + 2*k3[i] + k4[i])
	}
}
