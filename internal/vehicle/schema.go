package vehicle

import (
	"strings"

	"hvproof/internal/quantity"
)

// kind says how the value of a field is written.
type kind int

const (
	number kind = iota // a quantity, with a tolerance if there is one
	count              // a whole number of things, at least 1
	truth              // true or false
	raw                // a whole number from 0, decimal or after 0x
	raws               // a list of those
	text               // words
	oneOf              // one of the field's choices
	name               // the name of an item
	names              // a list of names
)

// sense says which numbers make sense in a field.
type sense int

const (
	positive    sense = iota // above zero, whatever the tolerance
	notNegative              // zero, or above zero whatever the tolerance
	fraction                 // above 0 and below 1
	factor                   // 1 or more
	anyNumber                // no restriction
)

// A field is one thing that a vehicle file may say.
type field struct {
	pattern string // dotted path; * stands for the name of an item
	kind    kind
	dim     quantity.Dim // of a number
	free    bool         // a number of any dimension
	sense   sense
	choices []string // of oneOf
	example string   // a value as people write it
	meaning string   // one line, for help and for the comments of a new file
}

// kelvinPerWatt is the dimension of a resistance to heat.
var kelvinPerWatt = quantity.Kelvin.Div(quantity.Watt)

// schema is every field of vehicle.yaml, in the order in which a new file
// shows them. What is not in it is an unknown key.
var schema = []field{
	{pattern: "format", kind: count, example: "1", meaning: "version of this file format"},
	{pattern: "name", kind: text, example: "Sandpiper", meaning: "what the car is called"},
	{pattern: "revision", kind: text, example: "1.10", meaning: "revision of this file or of the car, as written"},
	{pattern: "chassis_number", kind: text, example: "SP-001", meaning: "as stamped on the car"},
	{pattern: "note", kind: text, example: "built 2026", meaning: "anything a reader should know"},
	{pattern: "assessed_to", kind: names, example: "[un-r100, workshop]", meaning: "the rule sets that the car is assessed to"},
	{pattern: "required", kind: names, example: "[isolation_whole, precharge]", meaning: "the proofs that ready asks for; all built-in ones of stages A to D if absent"},

	{pattern: "report.workshop", kind: text, example: "Sedge Lane Garage, 4 Sedge Lane", meaning: "who tests, with the address; runs carry it, and reports print it"},
	{pattern: "report.customer", kind: text, example: "the car's owner", meaning: "whom the report is made for, likewise"},
	{pattern: "report.place", kind: text, example: "bay 2", meaning: "where the car is tested, likewise"},

	{pattern: "system.conductively_connected_ac", kind: truth, example: "true", meaning: "the AC side of the drive is joined to the DC side, as with any usual inverter; true unless stated"},

	{pattern: "packs.*.cells.series", kind: count, example: "96", meaning: "cells in series"},
	{pattern: "packs.*.cells.parallel", kind: count, example: "2", meaning: "cells in parallel"},
	{pattern: "packs.*.cells.max", dim: quantity.Volt, example: "4.20 V", meaning: "highest voltage of a cell"},
	{pattern: "packs.*.cells.nominal", dim: quantity.Volt, example: "3.65 V", meaning: "nominal voltage of a cell"},
	{pattern: "packs.*.cells.min", dim: quantity.Volt, example: "3.00 V", meaning: "lowest voltage of a cell"},
	{pattern: "packs.*.cells.resistance", dim: quantity.Ohm, example: "1.1 mΩ ±20%", meaning: "DC resistance of a cell at working temperature, for sharing"},
	{pattern: "packs.*.cells.cold_resistance", dim: quantity.Ohm, example: "2.4 mΩ ±20%", meaning: "DC resistance of a cold cell, for sharing on a cold day"},
	{pattern: "packs.*.cells.fault_resistance", dim: quantity.Ohm, example: "0.8 mΩ ±20%", meaning: "short-time resistance of a warm cell, for fault current and inrush"},
	{pattern: "packs.*.capacity", dim: quantity.Coulomb, example: "42 Ah", meaning: "capacity of the pack"},
	{pattern: "packs.*.peak_current", dim: quantity.Ampere, example: "420 A", meaning: "highest current that the pack may give"},
	{pattern: "packs.*.charge_current", dim: quantity.Ampere, example: "84 A", meaning: "highest current with which the pack may be charged, also by another pack"},
	{pattern: "packs.*.voltage", dim: quantity.Volt, example: "403.2 V", meaning: "highest voltage as the pack's label gives it, to be compared with its cells"},
	{pattern: "packs.*.path", dim: quantity.Ohm, example: "2.4 mΩ ±25%", meaning: "fuse, contactors, joints and cable from the cells to the junction"},
	{pattern: "packs.*.background_plus", dim: quantity.Ohm, example: "66 MΩ", meaning: "resistance of its plus pole to chassis when nothing leaked, to find a leak beside it"},
	{pattern: "packs.*.background_minus", dim: quantity.Ohm, example: "92 MΩ", meaning: "the same of its minus pole"},
	{pattern: "packs.*.y_capacitance", dim: quantity.Farad, sense: notNegative, example: "40 nF ±20%", meaning: "capacitance from one pole to chassis; 0 nF if none"},

	{pattern: "drive.demand", dim: quantity.Ampere, example: "470 A", meaning: "highest current that the drive asks for"},
	{pattern: "drive.continuous", dim: quantity.Ampere, example: "250 A", meaning: "current that the drive asks for over minutes, for fuses, contactors and cables"},
	{pattern: "drive.after_pack_lost", dim: quantity.Ampere, example: "200 A", meaning: "highest current once a pack is lost"},
	{pattern: "parallel.join_difference", dim: quantity.Volt, example: "1.0 V", meaning: "largest difference at which packs are joined"},

	{pattern: "dc_link.capacitance", dim: quantity.Farad, example: "1.02 mF ±10%", meaning: "capacitance between the poles"},
	{pattern: "dc_link.y_capacitance", dim: quantity.Farad, sense: notNegative, example: "220 nF ±20%", meaning: "capacitance from one pole to chassis; 0 nF if none"},
	{pattern: "dc_link.bleed", dim: quantity.Ohm, example: "22 kΩ ±5%", meaning: "resistor that is always across the DC link"},

	{pattern: "discharge.resistance", dim: quantity.Ohm, example: "1.8 kΩ ±5%", meaning: "resistor of the active discharge"},
	{pattern: "discharge.pulse_energy", dim: quantity.Joule, example: "2500 J", meaning: "energy that it survives in one go"},
	{pattern: "discharge.continuous_power", dim: quantity.Watt, example: "100 W", meaning: "power that it bears for ever"},
	{pattern: "discharge.delay", dim: quantity.Second, sense: notNegative, example: "20 ms", meaning: "time from the contactors' opening until it discharges"},
	{pattern: "discharge.to", dim: quantity.Volt, example: "60 V", meaning: "voltage at which the DC link counts as discharged"},
	{pattern: "discharge.within", dim: quantity.Second, example: "5 s", meaning: "time allowed for it"},

	{pattern: "precharge.from", kind: name, example: "left", meaning: "the pack that pre-charges the DC link"},
	{pattern: "precharge.resistance", dim: quantity.Ohm, example: "68 Ω ±5%", meaning: "pre-charge resistor"},
	{pattern: "precharge.continuous_power", dim: quantity.Watt, example: "50 W", meaning: "power that it bears for ever"},
	{pattern: "precharge.pulse_energy", dim: quantity.Joule, example: "900 J", meaning: "energy that it survives in one go"},
	{pattern: "precharge.target", dim: quantity.One, sense: fraction, example: "95%", meaning: "part of the pack's voltage at which the main contactor closes"},
	{pattern: "precharge.making_capacity", dim: quantity.Ampere, example: "10 A", meaning: "current that the pre-charge relay may close onto"},
	{pattern: "precharge.coil", dim: quantity.Ohm, example: "80 Ω ±10%", meaning: "coil of the pre-charge relay"},
	{pattern: "precharge.coil_on_shutdown", kind: truth, example: "true", meaning: "that coil is fed through the shutdown circuit; true unless stated"},
	{pattern: "precharge.give_up", dim: quantity.Second, example: "350 ms", meaning: "time after which the controller gives a try up"},
	{pattern: "precharge.attempts", kind: count, example: "3", meaning: "tries that the controller allows in a minute"},
	{pattern: "precharge.load_power", dim: quantity.Watt, sense: notNegative, example: "0 W", meaning: "constant power drawn from the DC link during pre-charge, as by a DC-DC converter; 0 W if nothing draws"},
	{pattern: "precharge.load_from", dim: quantity.Volt, example: "60 V", meaning: "voltage of the DC link from which it is drawn"},
	{pattern: "precharge.load_resistance", dim: quantity.Ohm, example: "10 kΩ ±10%", meaning: "resistive load left on during pre-charge, beside the bleed resistor"},

	{pattern: "contactors.*.pack", kind: name, example: "left", meaning: "the pack that it disconnects"},
	{pattern: "contactors.*.pole", kind: oneOf, choices: []string{"plus", "minus"}, example: "plus", meaning: "the pole that it is in"},
	{pattern: "contactors.*.coil", dim: quantity.Ohm, example: "24 Ω ±10%", meaning: "coil resistance"},
	{pattern: "contactors.*.pull_in", dim: quantity.Volt, example: "9.0 V", meaning: "coil voltage at which it surely closes, coil hot"},
	{pattern: "contactors.*.drop_out", dim: quantity.Volt, example: "1.2 V", meaning: "coil voltage at which it surely opens"},
	{pattern: "contactors.*.hold_in", dim: quantity.Volt, example: "4.5 V", meaning: "coil voltage at which it surely stays closed"},
	{pattern: "contactors.*.coil_rise", dim: quantity.Kelvin, sense: notNegative, example: "60 K", meaning: "how much hotter the coil gets than it was where coil and pull_in are given; 0 K if they are for the hot coil"},
	{pattern: "contactors.*.inductance", dim: quantity.Henry, example: "0.2 H", meaning: "inductance of the coil, closed"},
	{pattern: "contactors.*.clamp", dim: quantity.Volt, example: "24 V", meaning: "voltage across the coil as it is switched off: 0.7 V with a diode, more with a clamp"},
	{pattern: "contactors.*.continuous_current", dim: quantity.Ampere, example: "300 A", meaning: "current that it carries for ever"},
	{pattern: "contactors.*.breaking_capacity", dim: quantity.Ampere, example: "1000 A", meaning: "current that it can open"},
	{pattern: "contactors.*.making_capacity", dim: quantity.Ampere, example: "600 A", meaning: "current that it can close onto"},
	{pattern: "contactors.*.operate_time", dim: quantity.Second, example: "30 ms", meaning: "time to close"},
	{pattern: "contactors.*.release_time", dim: quantity.Second, example: "12 ms", meaning: "time to open, coil not suppressed"},
	{pattern: "contactors.*.release_factor", dim: quantity.One, sense: factor, example: "5", meaning: "how many times longer with what is across the coil"},

	{pattern: "fuses.*.pack", kind: name, example: "left", meaning: "the pack that it protects; the pack of its own name if absent"},
	{pattern: "fuses.*.part", kind: text, example: "dcdc", meaning: "what it protects, if not a pack"},
	{pattern: "fuses.*.rating", dim: quantity.Ampere, example: "250 A", meaning: "rated current"},
	{pattern: "fuses.*.voltage", dim: quantity.Volt, example: "500 V", meaning: "rated DC voltage"},
	{pattern: "fuses.*.breaking_capacity", dim: quantity.Ampere, example: "20 kA", meaning: "largest current that it breaks"},
	{pattern: "fuses.*.minimum_breaking", dim: quantity.Ampere, example: "500 A", meaning: "smallest current that it breaks"},
	{pattern: "fuses.*.melting", dim: quantity.Ampere, example: "900 A", meaning: "current that melts it in the time that the pack's peak current lasts"},

	{pattern: "cables.*.pack", kind: name, example: "left", meaning: "the pack whose current it carries"},
	{pattern: "cables.*.section", dim: quantity.SquareMetre, example: "50 mm²", meaning: "cross-section of its copper, a size of IEC 60228"},
	{pattern: "cables.*.length", dim: quantity.Metre, example: "3.1 m", meaning: "length, there and back where it is both"},
	{pattern: "cables.*.temperature", dim: quantity.Kelvin, example: "60 °C", meaning: "hottest temperature of its copper"},
	{pattern: "cables.*.current", dim: quantity.Ampere, example: "260 A", meaning: "current that it carries for ever, as it is laid"},

	{pattern: "pyro.bridge", dim: quantity.Ohm, example: "1.7..2.3 Ω", meaning: "bridge of the igniter"},
	{pattern: "pyro.harness", dim: quantity.Ohm, sense: notNegative, example: "0.30 Ω ±20%", meaning: "wire to the igniter and back"},
	{pattern: "pyro.series", dim: quantity.Ohm, sense: notNegative, example: "2.2 Ω ±5%", meaning: "resistor in series"},
	{pattern: "pyro.driver_drop", dim: quantity.Volt, sense: notNegative, example: "1.0 V", meaning: "voltage lost in the driver"},
	{pattern: "pyro.no_fire", dim: quantity.Ampere, example: "0.4 A", meaning: "current that surely does not fire it"},
	{pattern: "pyro.all_fire", dim: quantity.Ampere, example: "1.2 A", meaning: "current that surely fires it"},
	{pattern: "pyro.margin", dim: quantity.One, sense: factor, example: "1.5", meaning: "firing current wanted, in times all_fire"},
	{pattern: "pyro.test_current", dim: quantity.Ampere, example: "10 mA", meaning: "the data sheet's largest test current; it can only lower the limit"},
	{pattern: "pyro.capacitor", dim: quantity.Farad, example: "4.7 mF ±20%", meaning: "capacitor that fires it when the supply is gone"},
	{pattern: "pyro.capacitor_voltage", dim: quantity.Volt, example: "10.0 V", meaning: "lowest voltage of that capacitor"},
	{pattern: "pyro.fire_time", dim: quantity.Second, example: "2 ms", meaning: "how long all_fire must flow"},

	{pattern: "low_voltage.min", dim: quantity.Volt, example: "10.5 V", meaning: "lowest supply voltage at which everything must work"},
	{pattern: "low_voltage.nominal", dim: quantity.Volt, example: "12.8 V", meaning: "usual supply voltage"},
	{pattern: "low_voltage.max", dim: quantity.Volt, example: "14.6 V", meaning: "highest supply voltage"},
	{pattern: "low_voltage.dip", dim: quantity.Volt, example: "8.0 V", meaning: "lowest supply voltage for a moment, as other loads start"},

	{pattern: "shutdown.*.contact", dim: quantity.Ohm, sense: notNegative, example: "50 mΩ", meaning: "largest resistance of its contact"},
	{pattern: "shutdown.*.wire", dim: quantity.Ohm, sense: notNegative, example: "110 mΩ", meaning: "largest resistance of the wire to the next device; or write its length, section and temperature"},
	{pattern: "shutdown.*.wire_length", dim: quantity.Metre, example: "2.5 m", meaning: "length of that wire, instead of its resistance"},
	{pattern: "shutdown.*.wire_section", dim: quantity.SquareMetre, example: "1.5 mm²", meaning: "cross-section of that wire, a size of IEC 60228"},
	{pattern: "shutdown.*.wire_temperature", dim: quantity.Kelvin, example: "60 °C", meaning: "hottest temperature of that wire"},
	{pattern: "shutdown.*.connector", dim: quantity.Ohm, sense: notNegative, example: "10 mΩ", meaning: "largest resistance of its connectors, where contact and wire do not hold them"},
	{pattern: "shutdown.*.opens", kind: names, example: "[left_plus, left_minus]", meaning: "the contactors that it opens; all if absent"},

	{pattern: "isolation.parts", kind: names, example: "[left, right, drive]", meaning: "the parts whose isolation is measured"},
	{pattern: "isolation.meter_voltage", dim: quantity.Volt, example: "500 V", meaning: "test voltage for them"},
	{pattern: "isolation.meter_current", dim: quantity.Ampere, example: "1 mA", meaning: "current that the insulation tester gives into a short"},
	{pattern: "isolation.open_path", dim: quantity.Ohm, example: "20 MΩ", meaning: "resistance from one side of an open contactor to the other, through everything that is isolated"},
	{pattern: "isolation.background_plus", dim: quantity.Ohm, example: "15 MΩ", meaning: "resistance of the whole's plus pole to chassis when nothing leaked, to find a leak beside it"},
	{pattern: "isolation.background_minus", dim: quantity.Ohm, example: "15 MΩ", meaning: "the same of its minus pole"},
	{pattern: "isolation_monitor.response", dim: quantity.Ohm, example: "250 kΩ ±15%", meaning: "isolation resistance at which it trips"},
	{pattern: "isolation_monitor.internal", dim: quantity.Ohm, example: "1.2 MΩ ±15%", meaning: "its own resistance to chassis"},
	{pattern: "isolation_monitor.within", dim: quantity.Second, example: "30 s", meaning: "time in which it trips"},
	{pattern: "isolation_monitor.test_resistor", dim: quantity.Ohm, example: "82 kΩ ±1%", meaning: "resistor that must trip it"},
	{pattern: "isolation_monitor.hold_resistor", dim: quantity.Ohm, example: "510 kΩ ±1%", meaning: "resistor that must not trip it"},
	{pattern: "isolation_monitor.test_point", dim: quantity.Ohm, sense: notNegative, example: "15 kΩ", meaning: "protection resistor inside the measuring point"},

	{pattern: "bonding.limit", dim: quantity.Ohm, example: "0.1 Ω", meaning: "largest resistance to chassis"},
	{pattern: "bonding.current", dim: quantity.Ampere, example: "0.2 A", meaning: "least test current"},
	{pattern: "bonding.points", kind: names, example: "[left_box, inverter]", meaning: "the points that are bonded to chassis"},
	{pattern: "bonding.strap_section", dim: quantity.SquareMetre, example: "16 mm²", meaning: "cross-section of the bonding straps, a size of IEC 60228"},
	{pattern: "bonding.strap_length", dim: quantity.Metre, example: "0.5 m", meaning: "length of the longest one"},
	{pattern: "bonding.strap_temperature", dim: quantity.Kelvin, example: "40 °C", meaning: "hottest temperature at which it is measured; 20 °C if absent, as IEC 60228 has it"},
	{pattern: "bonding.contact", dim: quantity.Ohm, example: "20 mΩ", meaning: "largest resistance of what is between metal and strap at either end, for the reading that is expected"},

	{pattern: "joints.*.thread", kind: text, example: "M8", meaning: "thread of the joint"},
	{pattern: "joints.*.torque", dim: quantity.NewtonMetre, example: "17 N·m ±10%", meaning: "torque by the part maker's sheet"},
	{pattern: "joints.*.part", kind: text, example: "left", meaning: "the part that it belongs to"},
	{pattern: "joints.*.pack", kind: name, example: "left", meaning: "the pack whose current it carries; that of its part if absent"},
	{pattern: "joints.*.resistance", dim: quantity.Ohm, example: "20 µΩ", meaning: "largest resistance of the joint; makers give up to 10 µΩ for large ones"},
	{pattern: "joints.*.heating", dim: kelvinPerWatt, example: "4 K/W", meaning: "how much hotter it gets for each watt in it"},

	{pattern: "workshop.isolation", dim: quantity.Ohm, example: "1 MΩ", meaning: "the shop's own least isolation"},
	{pattern: "workshop.discharge.to", dim: quantity.Volt, example: "60 V", meaning: "the shop's own voltage that counts as discharged"},
	{pattern: "workshop.discharge.within", dim: quantity.Second, example: "60 s", meaning: "the shop's own time allowed for it"},
	{pattern: "workshop.wait_label", dim: quantity.Second, example: "300 s", meaning: "waiting time on the label"},

	{pattern: "protection.glove_class", kind: text, example: `"0"`, meaning: "class of the insulating gloves, EN 60903"},
	{pattern: "protection.glove_tested", kind: text, example: "2026-12-01", meaning: "day on which they were tested"},
	{pattern: "protection.glove_months", kind: count, example: "6", meaning: "months for which that test holds"},

	{pattern: "can.*.id", kind: raw, example: "0x3A1", meaning: "identifier of the frames that hold the signal, dc_link for the DC link's voltage; above 0x7FF it is an extended one"},
	{pattern: "can.*.extended", kind: truth, example: "true", meaning: "an extended identifier (29 bits) although it is small; false unless stated"},
	{pattern: "can.*.interface", kind: text, example: "can0", meaning: "the bus, as the log names it; any if absent"},
	{pattern: "can.*.start", kind: raw, example: "0", meaning: "first bit; bit 0 is the lowest of byte 0, bit 8 the lowest of byte 1; order big: the signal's highest bit, so bytes 0 and 1 begin at 7"},
	{pattern: "can.*.bits", kind: count, example: "16", meaning: "how many bits, 1 to 64"},
	{pattern: "can.*.order", kind: oneOf, choices: []string{"little", "big"}, example: "little", meaning: "the byte that comes first: the little or the big end of the number"},
	{pattern: "can.*.signed", kind: truth, example: "false", meaning: "the highest bit is the sign (two's complement); false unless stated"},
	{pattern: "can.*.scale", free: true, sense: anyNumber, example: "0.1 V", meaning: "what one count stands for, with its unit; 1 for a contact"},
	{pattern: "can.*.offset", free: true, sense: anyNumber, example: "0 V", meaning: "what count 0 stands for; nothing if absent"},
	{pattern: "can.*.invalid", kind: raws, example: "[0xFFFF]", meaning: "counts that mean: no value"},

	{pattern: "extra.*", free: true, sense: anyNumber, example: "0.05 Ω", meaning: "the shop's own named numbers, for its own formulas"},
}

// What may be walked over by name: the maps whose keys are names of items,
// and the lists of names whose entries are items themselves.
var (
	itemMaps  = []string{"packs", "contactors", "fuses", "cables", "shutdown", "joints", "can", "extra"}
	itemLists = []string{"isolation.parts", "bonding.points"}
)

// A Field describes one thing that a vehicle file may say.
type Field struct {
	Path    string // dotted; * stands for the name of an item
	Example string // a value as people write it
	Meaning string // one line
}

// Fields gives every field of a vehicle file, in the order in which a new
// file shows them.
func Fields() []Field {
	out := make([]Field, len(schema))
	for i, f := range schema {
		out[i] = Field{Path: f.pattern, Example: f.example, Meaning: f.meaning}
	}
	return out
}

// matches reports whether the dotted path is one that the pattern stands for.
func matches(pattern, path string) bool {
	for {
		p, restP, moreP := strings.Cut(pattern, ".")
		q, restQ, moreQ := strings.Cut(path, ".")
		if moreP != moreQ || (p != "*" && p != q) {
			return false
		}
		if !moreP {
			return true
		}
		pattern, path = restP, restQ
	}
}

// fieldOf gives the field of a dotted path.
func fieldOf(path string) (*field, bool) {
	for i := range schema {
		if matches(schema[i].pattern, path) {
			return &schema[i], true
		}
	}
	return nil, false
}

// wanted says in words what belongs into a field: "a current such as 0.4 A".
func (f *field) wanted() string {
	switch f.kind {
	case count:
		return "a whole number such as " + f.example
	case raw:
		return "a whole number such as " + f.example
	case raws:
		return "a list of whole numbers such as " + f.example
	case truth:
		return "true or false"
	case oneOf:
		return strings.Join(f.choices, " or ")
	case name:
		return "a name such as " + f.example
	case names:
		return "a list of names such as " + f.example
	case text:
		return "words such as " + f.example
	}
	if f.free {
		return "a quantity such as " + f.example
	}
	return noun(f.dim) + " such as " + f.example
}

// noun names a dimension in plain words, with its article.
func noun(d quantity.Dim) string {
	switch d {
	case quantity.One:
		return "a number"
	case quantity.Volt:
		return "a voltage"
	case quantity.Ampere:
		return "a current"
	case quantity.Ohm:
		return "a resistance"
	case quantity.Farad:
		return "a capacitance"
	case quantity.Coulomb:
		return "a charge"
	case quantity.Second:
		return "a time"
	case quantity.Joule:
		return "an energy"
	case quantity.Watt:
		return "a power"
	case quantity.NewtonMetre:
		return "a torque"
	case quantity.Kelvin:
		return "a temperature or a difference of two"
	case quantity.Metre:
		return "a length"
	case quantity.SquareMetre:
		return "a cross-section"
	case quantity.Henry:
		return "an inductance"
	}
	return "a quantity in " + d.String()
}
