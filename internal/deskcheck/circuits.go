package deskcheck

import (
	"hvproof/internal/hv"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// precharge takes the circuit of pre-charge with its loads; loads that the
// file may be silent about are none, but the power left on must be stated.
// up says whether a higher resistor, capacitance and load make the value
// higher; the pack's voltage and the load's resistance work the other way.
type prechargeInputs struct{ volts, ohms, farads, bleed, load, watts, from int }

func (g *gather) precharge(up bool) prechargeInputs {
	in := prechargeInputs{
		ohms: g.take("precharge.resistance", up), watts: g.take("precharge.load_power", up),
		bleed: g.or("dc_link.bleed", !up, 0), load: g.or("precharge.load_resistance", !up, 0),
		from: g.or("precharge.load_from", !up, 0), farads: g.take("dc_link.capacitance", up),
	}
	in.volts = g.packVoltage(!up)
	return in
}

// packVoltage takes the voltage of the pack that pre-charges, from empty to
// full.
func (g *gather) packVoltage(up bool) int {
	from := g.car.PrechargeFrom()
	if from == "" {
		g.absent = first(g.absent, "precharge.from is missing: write the name of a pack in vehicle.yaml")
		g.inputs = append(g.inputs, input{})
		return len(g.inputs) - 1
	}
	low, err1 := number(g.car, "packs."+from+".min_voltage")
	mid, err2 := number(g.car, "packs."+from+".nominal_voltage")
	high, err3 := number(g.car, "packs."+from+".max_voltage")
	for _, err := range []error{err1, err2, err3} {
		if err != nil {
			g.absent = first(g.absent, err.Error())
		}
	}
	g.inputs = append(g.inputs, input{"packs." + from + ".voltage, empty to full", up,
		quantity.Range{Lo: low.Lo, Nominal: mid.Nominal, Hi: high.Hi, Dim: quantity.Volt}})
	return len(g.inputs) - 1
}

func (in prechargeInputs) at(x []float64) hv.Precharge {
	conductance := 0.0
	for _, r := range []float64{x[in.bleed], x[in.load]} {
		if r > 0 {
			conductance += 1 / r
		}
	}
	p := hv.Precharge{Volts: x[in.volts], Ohms: x[in.ohms], Farads: x[in.farads], Watts: x[in.watts], From: x[in.from]}
	if conductance > 0 {
		p.Load = 1 / conductance
	}
	return p
}

func stall(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	in := g.precharge(false)
	return g.evaluate(v, func(x []float64) float64 {
		p := in.at(x)
		volts, _ := p.Stall()
		return volts / p.Volts
	})
}

func loadAllowed(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	ohms, bleed := g.take("precharge.resistance", false), g.or("dc_link.bleed", true, 0)
	load, volts := g.or("precharge.load_resistance", true, 0), g.packVoltage(true)
	target := g.take("precharge.target", false)
	in := prechargeInputs{volts: volts, ohms: ohms, bleed: bleed, load: load, watts: load, from: load, farads: ohms}
	return g.evaluate(v, func(x []float64) float64 { return in.at(x).LoadAllowed(x[target]) })
}

func timeWithLoad(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	in := g.precharge(true)
	target := g.take("precharge.target", true)
	return g.evaluate(v, func(x []float64) float64 {
		p := in.at(x)
		return p.TimeTo(x[target] * p.Volts)
	})
}

// fromButton is the whole time budget: the slowest contactor opens, the bleed
// alone works until the active discharge begins, then both.
func fromButton(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	var releases []int
	contactors, _, _ := car.Collection("contactors")
	for _, c := range contactors {
		releases = append(releases, g.takeValue("contactors."+c+".suppressed_release_time", release(Value{Dim: quantity.Second}, car, c), true))
	}
	if len(contactors) == 0 {
		g.absent = "vehicle.yaml has no contactors"
	}
	volts, farads := g.take("system.max_voltage", true), g.take("dc_link.capacitance", true)
	target := g.take("discharge.target_voltage", false)
	bleed, active, delay := -1, -1, -1
	if _, _, ok := car.Value("dc_link.bleed"); ok {
		bleed = g.take("dc_link.bleed", true)
	}
	if _, _, ok := car.Value("discharge.resistance"); ok {
		active, delay = g.take("discharge.resistance", true), g.take("discharge.delay", true)
	}
	if bleed < 0 && active < 0 && g.absent == "" {
		g.absent = "dc_link.bleed is missing: nothing discharges the DC link"
	}
	return g.evaluate(v, func(x []float64) float64 {
		slowest := 0.0
		for _, i := range releases {
			slowest = max(slowest, x[i])
		}
		return slowest + hv.DischargeTime(x[volts], x[farads], x[target], stages(x, bleed, active, delay)...)
	})
}

func stages(x []float64, bleed, active, delay int) []hv.Stage {
	switch {
	case active < 0:
		return []hv.Stage{{Ohms: x[bleed]}}
	case bleed < 0:
		// Nothing discharges during the delay: a resistance beyond all others.
		return []hv.Stage{{Ohms: 1e15, Seconds: x[delay]}, {Ohms: x[active]}}
	}
	return []hv.Stage{{Ohms: x[bleed], Seconds: x[delay]}, {Ohms: 1 / (1/x[bleed] + 1/x[active])}}
}

// shownOhms and shownPart are what a tester is waited for: an isolation far
// above any limit takes longest.
const (
	shownOhms = 1e9
	shownPart = 0.01
)

func settling(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	volts, amps := g.take("isolation.meter_voltage", true), g.take("isolation.meter_current", false)
	y := g.take("system.y_capacitance", true)
	return g.evaluate(v, func(x []float64) float64 {
		return hv.Tester{Volts: x[volts], Amps: x[amps]}.Settling(shownOhms, 2*x[y], shownPart)
	})
}

// faultPerVolt is the fault that a monitor's test resistor makes, Ω/V
// (Formula Hybrid EV10.1.2, read; FSAE 2026 IN.10.1.2 may be read as half).
const faultPerVolt = 250

func monitorResistor(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	volts := g.take("system.max_voltage", true)
	point := g.or("isolation_monitor.test_point", false, 0)
	if _, _, ok := car.Value("isolation_monitor.response"); !ok {
		g.absent = first(g.absent, "isolation_monitor.response is missing: the car has no isolation monitor")
	}
	return g.evaluate(v, func(x []float64) float64 {
		r, err := hv.E24Below(faultPerVolt*x[volts] - x[point])
		if err != nil {
			return 0
		}
		return r
	})
}

// coilDecay is how long the coil's current flows on through what is across it.
func coilDecay(v Value, car *vehicle.Vehicle, item string) Value {
	g := gather{car: car}
	path := "contactors." + item
	volts, ohms, henries := g.take("low_voltage.max", true), g.take(path+".coil", false), g.take(path+".inductance", true)
	clamp, to := g.take(path+".clamp", false), g.take(path+".drop_out", false)
	return g.evaluate(v, func(x []float64) float64 {
		return hv.Coil{Volts: x[volts], Ohms: x[ohms], Henries: x[henries], Clamp: x[clamp]}.Decay(x[to])
	})
}

// release is the time in which a contactor opens: the maker's, times the factor
// that is given for the suppression, or after the decay that follows from it.
func release(v Value, car *vehicle.Vehicle, item string) Value {
	g := gather{car: car}
	path := "contactors." + item
	bare := g.take(path+".release_time", true)
	if _, _, ok := car.Value(path + ".release_factor"); ok {
		factor := g.take(path+".release_factor", true)
		return g.evaluate(v, func(x []float64) float64 { return x[bare] * x[factor] })
	}
	decay := g.takeValue(path+".coil_decay_time", coilDecay(Value{Dim: quantity.Second}, car, item), true)
	return g.evaluate(v, func(x []float64) float64 { return x[bare] + x[decay] })
}

// attempts is a count: what is left over of a try is none.
func attempts(v Value, car *vehicle.Vehicle, _ string) Value {
	g := gather{car: car}
	joules, watts := g.take("precharge.energy", false), g.take("precharge.continuous_power", true)
	return g.evaluate(v, func(x []float64) float64 { return hv.AttemptsPerMinute(x[joules], x[watts]) })
}
