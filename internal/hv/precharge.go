package hv

import "math"

// A Precharge is a DC link charged through a resistor with loads left on.
type Precharge struct {
	Volts  float64 // V, of the pack
	Ohms   float64 // Ω, pre-charge resistor
	Farads float64 // F, DC link
	Load   float64 // Ω, bleed and other resistive load; 0 or +Inf for none
	Watts  float64 // W, load of constant power, such as a DC-DC converter; 0 for none
	From   float64 // V, the voltage from which that load draws
}

// source gives the pack, the pre-charge resistor and the resistive load as
// one source (Thévenin): V∞ = V·R_L/(R + R_L) behind R∥R_L.
func (p Precharge) source() (volts, ohms float64) {
	if p.Load <= 0 || math.IsInf(p.Load, 1) {
		return p.Volts, p.Ohms
	}
	return p.Volts * p.Load / (p.Ohms + p.Load), parallel(p.Ohms, p.Load)
}

// Stall gives the voltage, V, at which pre-charge stands still. With a load
// of constant power P behind a source V, R the current is P/V_C, so that
//
//	V_C² − V·V_C + R·P = 0      V∞ = (V + √(V² − 4·R·P))/2
//
// Above V²/(4·R) there is no such voltage: the link hangs where the load
// begins to draw, and steady is false.
func (p Precharge) Stall() (volts float64, steady bool) {
	v, r := p.source()
	if p.Watts <= 0 || v <= p.From {
		return v, true
	}
	root := v*v - 4*r*p.Watts
	if root < 0 {
		return p.From, false
	}
	end := (v + math.Sqrt(root)) / 2
	// Below the lower root the load takes more than the resistor gives.
	if low := (v - math.Sqrt(root)) / 2; p.From < low || end < p.From {
		return p.From, false
	}
	return end, true
}

// LoadAllowed gives the greatest constant power, W, with which the fraction q
// of the pack's voltage is still reached: what the resistor gives at that
// voltage, less what the resistive load takes.
func (p Precharge) LoadAllowed(q float64) float64 {
	at := q * p.Volts
	amps := (p.Volts - at) / p.Ohms
	if p.Load > 0 {
		amps -= at / p.Load
	}
	return math.Max(0, amps*at)
}

// At gives the voltage of the link, V, a time, s, after the command.
//
//	C·dV_C/dt = (V − V_C)/R − P/V_C      from the voltage at which P begins
func (p Precharge) At(seconds float64) float64 {
	v := 0.0
	p.run(seconds, func(_, now float64) bool { v = now; return true })
	return v
}

// TimeTo gives the time, s, from the command to a voltage; +Inf if it is
// never reached.
func (p Precharge) TimeTo(volts float64) float64 {
	v, r := p.source()
	if volts <= 0 {
		return 0
	}
	if p.Watts <= 0 || volts <= p.From {
		if volts >= v {
			return math.Inf(1)
		}
		return r * p.Farads * math.Log(v/(v-volts))
	}
	if end, _ := p.Stall(); volts >= end {
		return math.Inf(1)
	}
	before, at := 0.0, math.Inf(1)
	step := r * p.Farads / stepsPerTau
	// Just below the stall the last volts take long; a hundred time constants
	// are for ever to a resistor.
	p.run(100*r*p.Farads, func(t, now float64) bool {
		if now >= volts {
			at = t - step*(now-volts)/(now-before)
			return false
		}
		before = now
		return true
	})
	return at
}

const stepsPerTau = 200

// run steps through time and shows every step; the last one ends at seconds.
func (p Precharge) run(seconds float64, show func(t, volts float64) bool) {
	v, r := p.source()
	step := r * p.Farads / stepsPerTau
	slope := func(x []float64) []float64 {
		amps := (v - x[0]) / r
		if p.Watts > 0 && x[0] >= p.From && x[0] > 0 {
			amps -= p.Watts / x[0]
		}
		return []float64{amps / p.Farads}
	}
	x := []float64{0}
	for t := 0.0; t < seconds; t += step {
		rungeKutta(x, math.Min(step, seconds-t), slope)
		if !show(math.Min(t+step, seconds), x[0]) {
			return
		}
	}
}

// AttemptsPerMinute gives how many whole tries in a minute a resistor bears for
// ever that takes so much energy, J, in each and sheds so much power, W:
// the average over the tries must not be above it (P = E/T, resistor makers).
func AttemptsPerMinute(joules, watts float64) float64 {
	const noise = 1e-9 // exactly three tries are three
	return math.Floor(60*watts/joules + noise)
}
