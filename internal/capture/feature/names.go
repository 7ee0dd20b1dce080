package feature

import (
	"maps"
	"slices"
	"strings"

	"hvproof/internal/quantity"
)

// named lists the features that each kind can give. A name that ends in a dot
// is followed by a role or a pack.
var named = map[string]map[string]quantity.Dim{
	KindPrecharge: {
		"start_voltage": quantity.Volt, "t0": quantity.Second, "tau": quantity.Second, "end_voltage": quantity.Volt,
		"pack_voltage": quantity.Volt, "closing": quantity.Second, "fraction_at_close": quantity.One,
		"volts_missing": quantity.Volt, "step_at_close": quantity.Volt, "t90": quantity.Second, "t95": quantity.Second,
		"load_current": quantity.Ampere, "resistor_energy": quantity.Joule, "implied_resistance": quantity.Ohm,
		"implied_capacitance": quantity.Farad, "resistance": quantity.Ohm, "capacitance": quantity.Farad,
	},
	KindDischarge: {
		"opening": quantity.Second, "start_voltage": quantity.Volt, "tau": quantity.Second, "tau_late": quantity.Second,
		"last_voltage": quantity.Volt, "end_voltage": quantity.Volt, "time_to_60V": quantity.Second,
		"time_to_60V_full_charge": quantity.Second, "time_to_60V_worst": quantity.Second,
		"implied_resistance": quantity.Ohm, "implied_resistance_late": quantity.Ohm, "implied_capacitance": quantity.Farad,
	},
	KindEmergencyOff: {
		"latency.": quantity.Second, "current_at_opening": quantity.Ampere, "arc_duration": quantity.Second,
		"start_voltage": quantity.Volt, "tau": quantity.Second, "tau_late": quantity.Second, "last_voltage": quantity.Volt,
		"end_voltage": quantity.Volt, "trip_to_60V": quantity.Second, "trip_to_60V_full_charge": quantity.Second,
		"trip_to_60V_worst": quantity.Second, "time_to_60V": quantity.Second, "opening": quantity.Second,
		"time_to_60V_full_charge": quantity.Second, "time_to_60V_worst": quantity.Second,
		"implied_resistance": quantity.Ohm, "implied_resistance_late": quantity.Ohm, "implied_capacitance": quantity.Farad,
	},
	KindSharing:  {"total_current": quantity.Ampere, "current.": quantity.Ampere, "share.": quantity.One},
	KindTogether: {"resistance_ratio": quantity.One, "resistance": quantity.Ohm, "capacitance": quantity.Farad},
	KindCoil: {
		"hold_current": quantity.Ampere, "pull_in_time": quantity.Second, "pull_in_current": quantity.Ampere, "drop_out_time": quantity.Second,
	},
}

// Names lists the features of a kind, in alphabetical order; one that ends in
// a dot is followed by a role or a pack.
func Names(kind string) []string { return slices.Sorted(maps.Keys(named[kind])) }

// Dim gives the dimension of a feature of a kind.
func Dim(kind, name string) (quantity.Dim, bool) {
	if d, ok := named[kind][name]; ok && !strings.HasSuffix(name, ".") {
		return d, true
	}
	first, rest, dotted := strings.Cut(name, ".")
	d, ok := named[kind][first+"."]
	return d, ok && dotted && rest != ""
}
