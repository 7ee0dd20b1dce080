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
// In a formula, item is the item that the pattern's * stands for, OTHERS
// the total resistances of all other packs, COLD the same when cold, and
// FROM the pack that pre-charges.
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
	{"packs.*.load_alone", quantity.One, "drive.demand / item.peak_current", "full demand, if this pack is left alone, in times its peak current"},
	{"packs.*.equalising_current", quantity.Ampere, "parallel.join_difference / (item.total_resistance + parallel(OTHERS))", "current on joining at the largest difference"},
	{"packs.*.current_with_difference", quantity.Ampere, "drive.demand * item.share + item.equalising_current", "current of this pack at full demand, if it is the fuller one"},
	{"packs.*.difference_allowed", quantity.Volt, "item.peak_current * (item.total_resistance + parallel(OTHERS)) - drive.demand * parallel(OTHERS)", "difference at which that current reaches the pack's peak current"},

	{"precharge.tau", quantity.Second, "precharge.resistance * dc_link.capacitance", "time constant of pre-charge"},
	{"precharge.time", quantity.Second, "precharge.tau * ln(1 / (1 - precharge.target))", "time to the target"},
	{"precharge.peak_current", quantity.Ampere, "system.max_voltage / precharge.resistance", "current at the start"},
	{"precharge.peak_power", quantity.Watt, "system.max_voltage * system.max_voltage / precharge.resistance", "power in the resistor at the start, or for ever into a short"},
	{"precharge.energy", quantity.Joule, "dc_link.capacitance * system.max_voltage * system.max_voltage / 2", "energy in the resistor in one pre-charge"},
	{"precharge.interval", quantity.Second, "precharge.energy / precharge.continuous_power", "least time between two tries"},
	{"precharge.longest_try", quantity.Second, "precharge.pulse_energy / precharge.peak_power", "time that the resistor survives into a short"},
	{"precharge.reachable", quantity.One, "share(dc_link.bleed, precharge.resistance)", "part of the pack's voltage that can be reached at all"},
	{"precharge.residual_voltage", quantity.Volt, "system.max_voltage * (1 - precharge.target)", "step at closing"},
	{"precharge.inrush", quantity.Ampere, "precharge.residual_voltage / FROM.fault_resistance", "current of that step"},

	{"discharge.target_voltage", quantity.Volt, "has(discharge.to) ? discharge.to : has(workshop.discharge.to) ? workshop.discharge.to : 60 V", "voltage that counts as discharged"},
	{"discharge.allowed_time", quantity.Second, "has(discharge.within) ? discharge.within : workshop.discharge.within", "time allowed for it by this file"},
	{"discharge.total_resistance", quantity.Ohm, "has(discharge.resistance) ? (has(dc_link.bleed) ? parallel(discharge.resistance, dc_link.bleed) : discharge.resistance) : dc_link.bleed", "everything that discharges the DC link"},
	{"discharge.passive_time", quantity.Second, "dc_link.bleed * dc_link.capacitance * ln(max(1, system.max_voltage / discharge.target_voltage))", "time from full charge, by the bleed resistor alone"},
	{"discharge.time", quantity.Second, "discharge.total_resistance * dc_link.capacitance * ln(max(1, system.max_voltage / discharge.target_voltage))", "time from full charge"},
	{"discharge.tau", quantity.Second, "discharge.total_resistance * dc_link.capacitance", "time constant of discharge"},
	{"discharge.largest_resistance", quantity.Ohm, "discharge.allowed_time / (dc_link.capacitance * ln(system.max_voltage / discharge.target_voltage))", "largest total resistance for the time allowed"},
	{"discharge.peak_power", quantity.Watt, "system.max_voltage * system.max_voltage / discharge.resistance", "power in the discharge resistor at the start"},
	{"discharge.held_energy", quantity.Joule, "discharge.peak_power * 15 s", "energy in it, if the voltage stays on for 15 s (FSAE 2026 EV.5.6.5)"},
	{"dc_link.bleed_power", quantity.Watt, "system.max_voltage * system.max_voltage / dc_link.bleed", "power in the bleed resistor"},
	{"discharge.after_label", quantity.Volt, "system.max_voltage * exp(-workshop.wait_label / (dc_link.bleed * dc_link.capacitance))", "voltage left after the time on the label, by the bleed resistor alone"},

	{"coils.parallel_resistance", quantity.Ohm, "has(precharge) && precharge.coil_on_shutdown ? parallel(contactors.*.coil, precharge.coil) : parallel(contactors.*.coil)", "all coils on the shutdown circuit"},
	{"coils.pull_in", quantity.Volt, "max(contactors.*.pull_in)", "coil voltage at which every contactor surely closes"},
	{"shutdown_chain.resistance", quantity.Ohm, "sum(shutdown.*.contact) + sum(shutdown.*.wire)", "the shutdown circuit from end to end"},
	{"shutdown_chain.allowed", quantity.Ohm, "coils.parallel_resistance * (low_voltage.min / coils.pull_in - 1)", "largest resistance with which the contactors close at the lowest supply"},
	{"system.coil_voltage_min", quantity.Volt, "low_voltage.min * share(coils.parallel_resistance, shutdown_chain.resistance)", "coil voltage at the lowest supply"},
	{"system.coil_voltage_nominal", quantity.Volt, "low_voltage.nominal * share(coils.parallel_resistance, shutdown_chain.resistance)", "coil voltage at the usual supply"},
	{"system.low_voltage_needed", quantity.Volt, "coils.pull_in / share(coils.parallel_resistance, shutdown_chain.resistance)", "supply at which the contactors close"},
	{"contactors.*.suppressed_release_time", quantity.Second, "item.release_time * item.release_factor", "time to open, with what is across the coil"},

	{"pyro.least_current", quantity.Ampere, "(low_voltage.min - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series)", "firing current at the lowest supply"},
	{"pyro.greatest_current", quantity.Ampere, "(low_voltage.max - pyro.driver_drop) / (pyro.bridge + pyro.harness + pyro.series)", "firing current at the highest supply"},
	{"pyro.needed_current", quantity.Ampere, "pyro.margin * pyro.all_fire", "firing current wanted"},
	{"pyro.plug_resistance", quantity.Ohm, "pyro.bridge + pyro.harness", "what a meter sees at the plug"},
	{"pyro.test_current_allowed", quantity.Ampere, "has(pyro.test_current) ? min(pyro.no_fire / 10, 10 mA, pyro.test_current) : min(pyro.no_fire / 10, 10 mA)", "largest test current: a tenth of no_fire, never above 10 mA"},

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
	for _, path := range v.expand(row.pattern) {
		d := Derived{Name: path, Dim: row.dim, Meaning: row.meaning}
		env := v.Env()
		item := ""
		if perItem {
			item, _, _ = strings.Cut(strings.TrimPrefix(path, collection+"."), ".")
			env = formula.Bind(env, map[string]formula.Item{"item": {Collection: collection, Name: item}})
		}
		src, absent := v.fill(row.formula, item)
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

// fill puts names for the words in capitals of a formula, or says why there
// are none.
func (v *Vehicle) fill(src, item string) (filled, absent string) {
	others := func(value string) string {
		var names []string
		for _, p := range v.items["packs"] {
			if p.name != item {
				names = append(names, "packs."+p.name+"."+value)
			}
		}
		return strings.Join(names, ", ")
	}
	if strings.Contains(src, "OTHERS") || strings.Contains(src, "COLD") {
		if len(v.items["packs"]) < 2 {
			return "", "the car has fewer than two packs, nothing is shared"
		}
		src = strings.ReplaceAll(src, "OTHERS", others("total_resistance"))
		src = strings.ReplaceAll(src, "COLD", others("cold_resistance"))
	}
	if strings.Contains(src, "FROM") {
		from := v.prechargeFrom()
		if from == "" {
			return "", "write precharge.from in vehicle.yaml, the name of a pack"
		}
		src = strings.ReplaceAll(src, "FROM", "packs."+from)
	}
	return src, ""
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
