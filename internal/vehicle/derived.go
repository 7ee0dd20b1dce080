package vehicle

import (
	"errors"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/quantity"
)

// A derivation is a number that follows from the file's own. It is
// a formula like every other, so it is explained like every other, and its
// worst case is taken over the file's own inputs.
//
// In a formula, item is the item that the pattern's * stands for. The words
// in capitals stand for names that depend on the car: OTHERS for the total
// resistances of all other packs, COLD for the same when cold, FROM for the
// pack that pre-charges, PACK for the pack whose current the item carries,
// FUSE for the fuse in that current, SHARE for the item's share of a current,
// CONNECTORS for what connectors add to the shutdown circuit, COPPER for Ω/m of
// a cross-section, WIRE for a wire of the shutdown circuit as the file gives it,
// GUARDS and POLES for how many fuses and poles with a contactor the pack has.
// A row that begins with OTHERPACK has a value for every pack but that of FROM.
type derivation struct {
	pattern string
	dim     quantity.Dim
	formula string
	meaning string
}

// derivations lists what is derived. A row uses only rows above it.
var derivations = []derivation{
	{"packs.*.max_voltage", quantity.Volt, "item.cells.series * item.cells.max", "highest voltage of the pack"},
	{"packs.*.nominal_voltage", quantity.Volt, "item.cells.series * item.cells.nominal", "nominal voltage of the pack"},
	{"packs.*.min_voltage", quantity.Volt, "item.cells.series * item.cells.min", "lowest voltage of the pack"},
	{"packs.*.energy", quantity.Joule, "item.nominal_voltage * item.capacity", "energy of the pack"},
	{"packs.*.cell_resistance", quantity.Ohm, "item.cells.series * item.cells.resistance / item.cells.parallel", "all cells together"},
	{"packs.*.total_resistance", quantity.Ohm, "item.cell_resistance + item.path", "cells and path to the junction"},
	{"packs.*.cold_resistance", quantity.Ohm, "item.cells.series * item.cells.cold_resistance / item.cells.parallel + item.path", "the same, cells cold"},
	{"packs.*.fault_resistance", quantity.Ohm, "item.cells.series * item.cells.fault_resistance / item.cells.parallel + item.path", "the same, cells warm and for a short time"},
	{"packs.*.short_circuit_current", quantity.Ampere, "item.max_voltage / item.fault_resistance", "prospective short-circuit current of the pack"},

	{"system.max_voltage", quantity.Volt, "max(packs.*.max_voltage)", "highest voltage of the car"},
	{"system.nominal_voltage", quantity.Volt, "max(packs.*.nominal_voltage)", "nominal voltage of the car"},
	{"system.min_voltage", quantity.Volt, "min(packs.*.min_voltage)", "lowest voltage of the car"},
	{"system.capacity", quantity.Coulomb, "sum(packs.*.capacity)", "capacity of all packs"},
	{"system.energy", quantity.Joule, "sum(packs.*.energy)", "energy of all packs"},
	{"system.short_circuit_current", quantity.Ampere, "sum(packs.*.short_circuit_current)", "prospective short-circuit current at the junction"},
	{"system.smallest_peak_current", quantity.Ampere, "min(packs.*.peak_current)", "what every pack alone can give"},
	{"system.y_capacitance", quantity.Farad, "sum(packs.*.y_capacitance) + dc_link.y_capacitance", "capacitance from one pole to chassis"},
	{"system.y_energy", quantity.Joule, "system.y_capacitance * system.max_voltage * system.max_voltage / 2", "energy in it, per pole"},

	{"packs.*.share", quantity.One, "share(parallel(OTHERS), item.total_resistance)", "part of the whole current that this pack gives"},
	{"packs.*.cold_share", quantity.One, "share(parallel(COLD), item.cold_resistance)", "the same, cells cold"},
	{"packs.*.current_share", quantity.Ampere, "drive.demand * item.share", "current of this pack at full demand"},
	{"packs.*.cold_current_share", quantity.Ampere, "drive.demand * item.cold_share", "the same, cells cold"},
	{"packs.*.demand_current", quantity.Ampere, "drive.demand * SHARE", "current of this pack at full demand, shared or alone"},
	{"packs.*.continuous_current", quantity.Ampere, "drive.continuous * SHARE", "the same at the demand over minutes"},
	{"packs.*.charge_per_volt", quantity.Farad, "item.capacity / (item.max_voltage - item.min_voltage)", "charge that moves its voltage by 1 V, taken evenly over its swing"},
	{"packs.*.load_alone", quantity.One, "drive.demand / item.peak_current", "full demand, if this pack is left alone, in times its peak current"},
	{"packs.*.equalising_current", quantity.Ampere, "parallel.join_difference / (item.total_resistance + parallel(OTHERS))", "current on joining at the largest difference"},
	{"packs.*.current_with_difference", quantity.Ampere, "drive.demand * item.share + item.equalising_current", "current of this pack at full demand, if it is the fuller one"},
	{"packs.*.difference_allowed", quantity.Volt, "item.peak_current * (item.total_resistance + parallel(OTHERS)) - drive.demand * parallel(OTHERS)", "difference at which that current reaches the pack's peak current"},

	{"packs.*.fuses", quantity.One, "GUARDS", "fuses that protect the pack"},
	{"packs.*.poles_opened", quantity.One, "POLES", "poles of the pack that have a contactor"},

	{"dc_link.energy", quantity.Joule, "dc_link.capacitance * system.max_voltage * system.max_voltage / 2", "energy in the DC link, for the resistor that charges or empties it"},

	{"precharge.tau", quantity.Second, "precharge.resistance * dc_link.capacitance", "time constant of pre-charge"},
	{"precharge.time", quantity.Second, "precharge.tau * ln(1 / (1 - precharge.target))", "time to the target"},
	{"precharge.peak_current", quantity.Ampere, "system.max_voltage / precharge.resistance", "current at the start"},
	{"precharge.peak_power", quantity.Watt, "system.max_voltage * system.max_voltage / precharge.resistance", "power in the resistor at the start, or for ever into a short"},
	{"precharge.energy", quantity.Joule, "dc_link.energy", "energy in the resistor in one pre-charge: as much as the DC link takes up"},
	{"precharge.interval", quantity.Second, "precharge.energy / precharge.continuous_power", "least time between two tries"},
	{"precharge.average_power", quantity.Watt, "precharge.attempts * precharge.energy / 60 s", "power in the resistor at the tries that the controller allows"},
	{"precharge.warm_energy", quantity.Joule, "precharge.energy * (1 + precharge.average_power / precharge.continuous_power)", "one try on a resistor that those tries have warmed, as a pulse on a cold one (maker's rule E(1 + P_a/P_r))"},
	{"precharge.longest_try", quantity.Second, "precharge.pulse_energy / precharge.peak_power", "time that the resistor survives into a short"},
	{"precharge.reachable", quantity.One, "share(dc_link.bleed, precharge.resistance)", "part of the pack's voltage that can be reached at all"},
	{"precharge.residual_voltage", quantity.Volt, "system.max_voltage * (1 - precharge.target)", "step at closing"},
	{"precharge.inrush", quantity.Ampere, "precharge.residual_voltage / FROM.fault_resistance", "current of that step"},
	{"precharge.closing_voltage", quantity.Volt, "min(contactors.*.making_capacity) * FROM.fault_resistance", "step at which a main contactor's making capacity is reached"},
	{"precharge.closing_time", quantity.Second, "precharge.tau * ln(max(1, system.max_voltage / precharge.closing_voltage))", "time until no larger step is left"},
	{"packs.*.inrush", quantity.Ampere, "OTHERPACK (precharge.residual_voltage + parallel.join_difference) / item.fault_resistance", "current of the step, if this pack's contactors close first onto the DC link that another pack has charged"},

	{"discharge.target_voltage", quantity.Volt, "has(discharge.to) ? discharge.to : has(workshop.discharge.to) ? workshop.discharge.to : 60 V", "voltage that counts as discharged"},
	{"discharge.allowed_time", quantity.Second, "has(discharge.within) ? discharge.within : workshop.discharge.within", "time allowed for it by this file"},
	{"discharge.total_resistance", quantity.Ohm, "has(discharge.resistance) ? (has(dc_link.bleed) ? parallel(discharge.resistance, dc_link.bleed) : discharge.resistance) : dc_link.bleed", "everything that discharges the DC link"},
	{"discharge.passive_time", quantity.Second, "dc_link.bleed * dc_link.capacitance * ln(max(1, system.max_voltage / discharge.target_voltage))", "time from full charge, by the bleed resistor alone"},
	{"discharge.active_time", quantity.Second, "discharge.resistance * dc_link.capacitance * ln(max(1, system.max_voltage / discharge.target_voltage))", "time from full charge, by the active discharge alone"},
	{"discharge.time", quantity.Second, "discharge.total_resistance * dc_link.capacitance * ln(max(1, system.max_voltage / discharge.target_voltage))", "time from full charge"},
	{"discharge.tau", quantity.Second, "discharge.total_resistance * dc_link.capacitance", "time constant of discharge"},
	{"discharge.largest_resistance", quantity.Ohm, "discharge.allowed_time / (dc_link.capacitance * ln(system.max_voltage / discharge.target_voltage))", "largest total resistance for the time allowed"},
	{"discharge.peak_power", quantity.Watt, "system.max_voltage * system.max_voltage / discharge.resistance", "power in the discharge resistor at the start"},
	{"discharge.held_energy", quantity.Joule, "discharge.peak_power * 15 s", "energy in it, if the voltage stays on for 15 s (FSAE 2026 EV.5.6.5)"},
	{"dc_link.bleed_power", quantity.Watt, "system.max_voltage * system.max_voltage / dc_link.bleed", "power in the bleed resistor"},
	{"discharge.after_label", quantity.Volt, "system.max_voltage * exp(-workshop.wait_label / (dc_link.bleed * dc_link.capacitance))", "voltage left after the time on the label, by the bleed resistor alone"},

	{"coils.parallel_resistance", quantity.Ohm, "has(precharge) && precharge.coil_on_shutdown ? parallel(contactors.*.coil, precharge.coil) : parallel(contactors.*.coil)", "all coils on the shutdown circuit"},
	{"coils.pull_in", quantity.Volt, "max(contactors.*.pull_in)", "coil voltage at which every contactor surely closes"},
	{"shutdown.*.wire_resistance", quantity.Ohm, "WIRE", "largest resistance of the wire to the next device, as given or by IEC 60228 class 5, hot"},
	{"shutdown_chain.resistance", quantity.Ohm, "sum(shutdown.*.contact) + sum(shutdown.*.wire_resistance)CONNECTORS", "the shutdown circuit from end to end"},
	{"shutdown_chain.allowed", quantity.Ohm, "coils.parallel_resistance * (low_voltage.min / coils.pull_in - 1)", "largest resistance with which the contactors close at the lowest supply"},
	{"system.coil_voltage_min", quantity.Volt, "low_voltage.min * share(coils.parallel_resistance, shutdown_chain.resistance)", "coil voltage at the lowest supply"},
	{"system.coil_voltage_nominal", quantity.Volt, "low_voltage.nominal * share(coils.parallel_resistance, shutdown_chain.resistance)", "coil voltage at the usual supply"},
	{"system.low_voltage_needed", quantity.Volt, "coils.pull_in / share(coils.parallel_resistance, shutdown_chain.resistance)", "supply at which the contactors close"},
	{"contactors.*.heat_factor", quantity.One, "1 + 0.00393 * item.coil_rise / 1 K", "how much the hot coil's resistance, and with it pull_in, is above what is given (copper, 0.00393 /K)"},
	{"contactors.*.coil_hot", quantity.Ohm, "item.coil * item.heat_factor", "resistance of the hottest coil"},
	{"contactors.*.pull_in_hot", quantity.Volt, "item.pull_in * item.heat_factor", "coil voltage at which it surely closes, coil hottest"},
	{"coils.hot_resistance", quantity.Ohm, "has(precharge) && precharge.coil_on_shutdown ? parallel(contactors.*.coil_hot, precharge.coil) : parallel(contactors.*.coil_hot)", "all coils on the shutdown circuit, contactors' hottest"},
	{"system.coil_voltage_hot", quantity.Volt, "low_voltage.min * share(coils.hot_resistance, shutdown_chain.resistance)", "coil voltage at the lowest supply, coils hottest"},
	{"system.coil_voltage_dip", quantity.Volt, "low_voltage.dip * share(coils.parallel_resistance, shutdown_chain.resistance)", "coil voltage in the supply's dip"},

	{"pyro.least_current", quantity.Ampere, "(low_voltage.min - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series)", "firing current at the lowest supply"},
	{"pyro.greatest_current", quantity.Ampere, "(low_voltage.max - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series)", "firing current at the highest supply"},
	{"pyro.needed_current", quantity.Ampere, "pyro.margin * pyro.all_fire", "firing current wanted"},
	{"pyro.plug_resistance", quantity.Ohm, "pyro.bridge + pyro.harness", "what a meter sees at the plug"},
	{"pyro.test_current_allowed", quantity.Ampere, "has(pyro.test_current) ? min(pyro.no_fire / 10, 10 mA, pyro.test_current) : min(pyro.no_fire / 10, 10 mA)", "largest test current: a tenth of no_fire, never above 10 mA"},
	{"pyro.fire_energy", quantity.Joule, "((pyro.bridge + pyro.harness + pyro.series) * pyro.needed_current + pyro.driver_drop) * pyro.needed_current * pyro.fire_time", "energy that the firing current wanted takes in the time for all_fire"},
	{"pyro.capacitor_energy", quantity.Joule, "pyro.capacitor * pyro.capacitor_voltage * pyro.capacitor_voltage / 2", "energy kept for firing without supply"},
	{"pyro.capacitor_current", quantity.Ampere, "(pyro.capacitor_voltage - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series) * exp(-pyro.fire_time / ((pyro.bridge + pyro.harness + pyro.series) * pyro.capacitor))", "firing current from the capacitor, as the time for all_fire ends"},

	{"contactors.*.carried", quantity.Ampere, "PACK.continuous_current", "current over minutes through it"},
	{"fuses.*.carried", quantity.Ampere, "PACK.continuous_current", "current over minutes through it"},
	{"cables.*.carried", quantity.Ampere, "PACK.continuous_current", "current over minutes through it"},
	{"cables.*.resistance", quantity.Ohm, "item.length * COPPER * (item.temperature - 43.15 K) / 250 K", "largest resistance of the cable, hot: IEC 60228 class 5 at 20 °C, times (230 + t)/250"},
	{"cables.*.loss", quantity.Watt, "item.resistance * item.carried * item.carried", "heat in the cable at the demand over minutes"},
	{"cables.*.fuse_rating", quantity.Ampere, "FUSE.rating", "rating of the fuse that protects it"},
	{"joints.*.loss", quantity.Watt, "item.resistance * PACK.demand_current * PACK.demand_current", "heat in it at full demand"},
	{"joints.*.rise", quantity.Kelvin, "item.resistance * PACK.continuous_current * PACK.continuous_current * item.heating", "how much hotter it gets at the demand over minutes"},

	{"bonding.strap_resistance", quantity.Ohm, "bonding.strap_length * COPPER * (has(bonding.strap_temperature) ? (bonding.strap_temperature - 43.15 K) / 250 K : 1)", "largest resistance of the longest bonding strap: IEC 60228 class 5 at 20 °C, times (230 + t)/250"},
	{"bonding.expected_resistance", quantity.Ohm, "bonding.strap_resistance + 2 * bonding.contact", "what a good bond reads at most: the strap and what is between it and the metal at either end"},

	{"isolation.background", quantity.Ohm, "parallel(packs.*.background_plus, packs.*.background_minus)", "isolation of all packs as built, both poles in parallel"},
	{"isolation.with_monitor", quantity.Ohm, "has(isolation.background) ? parallel(isolation.background, isolation_monitor.internal) : isolation_monitor.internal", "what is seen at most, both poles in parallel, while the isolation monitor stays connected"},
	{"isolation.ghost_voltage", quantity.Volt, "system.max_voltage * share(10 MΩ, isolation.open_path)", "what a meter of 10 MΩ shows across an open contactor"},
	{"isolation.ghost_least", quantity.Volt, "system.min_voltage * share(parallel(10 MΩ, 100 kΩ), isolation.open_path)", "what a meter with a load of 100 kΩ shows across an open contactor, packs empty"},
	{"isolation.ghost_loaded", quantity.Volt, "system.max_voltage * share(parallel(10 MΩ, 100 kΩ), isolation.open_path)", "what a load of 100 kΩ across the meter leaves of it"},

	{"isolation_monitor.test_total", quantity.Ohm, "isolation_monitor.test_resistor + isolation_monitor.test_point", "fault that the test resistor makes"},
	{"isolation_monitor.test_per_volt", quantity.OhmPerVolt, "isolation_monitor.test_total / system.max_voltage", "the same for each volt"},
	{"isolation_monitor.test_power", quantity.Watt, "system.max_voltage / isolation_monitor.test_total * system.max_voltage / isolation_monitor.test_total * isolation_monitor.test_resistor", "power in the test resistor"},
}

// A Derived is a number that follows from the file's own.
type Derived struct {
	Name    string
	Dim     quantity.Dim
	Meaning string
	Formula *formula.Formula // nil if Absent is set
	Absent  string           // why it has no value in this car
}

// Derived gives every derived number of the car, also those without a
// value, in the order of the table.
func (v *Vehicle) Derived() []Derived { return slices.Clone(v.derived) }

// derive compiles the table for this car. A mistake in the table is a fault
// of the program, found by the tests, and reported as a problem all the same.
func (v *Vehicle) derive() diag.List {
	var problems diag.List
	v.derivedFor = map[string]int{}
	for _, row := range derivations {
		for _, d := range v.deriveRow(row, &problems) {
			v.derivedFor[d.Name] = len(v.derived)
			v.derived = append(v.derived, d)
			v.names = append(v.names, d.Name)
		}
	}
	return problems
}

// deriveRow compiles one row, for every item that it stands for.
func (v *Vehicle) deriveRow(row derivation, problems *diag.List) []Derived {
	var out []Derived
	collection, _, perItem := strings.Cut(row.pattern, ".*")
	if !perItem {
		collection = ""
	}
	for _, path := range v.expand(row.pattern) {
		d := Derived{Name: path, Dim: row.dim, Meaning: row.meaning}
		env := v.Env()
		item := ""
		if perItem {
			item, _, _ = strings.Cut(strings.TrimPrefix(path, collection+"."), ".")
			env = formula.Bind(env, map[string]formula.Item{"item": {Collection: collection, Name: item}})
		}
		src, absent := v.fill(row.formula, collection, item)
		if d.Absent = absent; absent == "" {
			var bad diag.List
			d.Formula, bad = formula.Compile(src, diag.Place{File: "derived value " + path}, src, env, formula.Want{Dim: row.dim})
			problems.Append(bad)
			d.Absent = absence(d.Formula)
		}
		out = append(out, d)
	}
	return out
}

// absence says which value a derived one misses, or "".
func absence(f *formula.Formula) string {
	if f == nil {
		return "its formula cannot be used"
	}
	var missing *formula.AbsentError
	if _, err := f.Eval(); errors.As(err, &missing) {
		return missing.Error()
	}
	return ""
}
