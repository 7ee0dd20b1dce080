package deskcheck

import (
	"slices"
	"strings"
	"sync"

	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// A kind is one row of the table: a value, or one for each item of a
// collection.
type kind struct {
	pattern string // * stands for the name of an item
	dim     quantity.Dim
	meaning string
	formula string
	make    func(k Value, car *vehicle.Vehicle, item string) Value
}

// kinds is every value of this package.
var kinds = []kind{
	{"packs.*.current_after_loss", quantity.Ampere,
		"highest current of this pack, if any one other pack is lost",
		"Kirchhoff: I·(1/R)/Σ(1/R) over the packs that are left, I being drive.after_pack_lost or else drive.demand", currentAfterLoss},
	{"packs.*.equalising_time", quantity.Second,
		"time until the equalising current has fallen to a tenth, joined at the largest difference",
		"dV/dt = −I/C in every pack, C its charge for each volt, I = (V − bus)/R; solved by steps", equalisingTime},
	{"parallel.limit", quantity.Ampere,
		"total current at which the first pack reaches its peak current",
		"the smallest of peak_current / share, share = (1/R)/Σ(1/R)", peakLimit},
	{"parallel.cold_limit", quantity.Ampere,
		"total current at which the first pack reaches its peak current, all cells cold",
		"the smallest of peak_current / share, share = (1/R)/Σ(1/R), R with cold cells", coldLimit},
	{"parallel.limit_after_loss", quantity.Ampere,
		"total current to which the drive must be limited once any one pack is lost",
		"the smallest of peak_current / share over the packs that are left, for every pack that may be lost", lossLimit},
	{"parallel.continuous_limit", quantity.Ampere,
		"total current over minutes at which the first fuse, contactor or cable reaches its own",
		"the smallest of rating / share over every fuse, contactor and cable that gives one, share = (1/R)/Σ(1/R)", continuousLimit},
	{"precharge.stall", quantity.One,
		"part of the pack's voltage at which pre-charge stands still with the loads left on",
		"V² − V_b·V + R·P = 0: V = (V_b + √(V_b² − 4·R·P))/2, bleed and resistive load taken into V_b and R; no solution above V_b²/4R", stall},
	{"precharge.load_allowed", quantity.Watt,
		"constant power with which the target is still reached",
		"V·((V_b − V)/R − V/R_load) at V = target·V_b", loadAllowed},
	{"precharge.time_with_load", quantity.Second,
		"time to the target with the loads left on",
		"C·dV/dt = (V_b − V)/R − V/R_load − P/V; solved by steps", timeWithLoad},
	{"discharge.time_from_button", quantity.Second,
		"time from an emergency-off device to the voltage that counts as discharged, from full charge",
		"release of the slowest contactor + delay with the bleed alone + R·C·ln(V/V_target) with everything", fromButton},
	{"isolation.settling", quantity.Second,
		"time until an insulation tester shows 1 GΩ to 1 % into the whole Y-capacitance, both poles joined",
		"(R_s∥R)·C·ln((R_s + R)/(R_s·1 %)), R_s = tester's voltage / its current into a short", settling},
	{"isolation_monitor.e24", quantity.Ohm,
		"largest E24 resistor that makes a fault of at most 250 Ω/V through the measuring point",
		"250 Ω/V · V − test_point, next lower value of IEC 60063 E24", monitorResistor},
	{"precharge.attempts_allowed", quantity.One,
		"whole tries in a minute that the pre-charge resistor bears for ever",
		"the whole part of 60 s · P/E: continuous power of the resistor over the energy of one try", attempts},
	{"contactors.*.coil_decay_time", quantity.Second,
		"time in which the coil's current falls to that of drop_out, against the voltage of diode or clamp",
		"L/R · ln((V + V_c)/(V_d + V_c)), V the highest supply, V_d drop_out, V_c the clamp: Kirchhoff", coilDecay},
	{"contactors.*.suppressed_release_time", quantity.Second,
		"time to open, with what is across the coil",
		"release_time · release_factor where the factor is given, else release_time + coil_decay_time", release},
}

// names gives the names that a row stands for in a car.
func (k kind) names(car *vehicle.Vehicle) []string {
	collection, rest, perItem := strings.Cut(k.pattern, ".*")
	if !perItem {
		return []string{k.pattern}
	}
	items, _, _ := car.Collection(collection)
	var out []string
	for _, item := range items {
		out = append(out, collection+"."+item+rest)
	}
	return out
}

// A maker computes one value, once.
type maker struct {
	name string
	make func() Value
}

func makers(car *vehicle.Vehicle) []maker {
	var out []maker
	for _, k := range kinds {
		for _, name := range k.names(car) {
			item := ""
			if collection, _, perItem := strings.Cut(k.pattern, ".*"); perItem {
				item, _, _ = strings.Cut(strings.TrimPrefix(name, collection+"."), ".")
			}
			blank := Value{Name: name, Dim: k.dim, Meaning: k.meaning, Formula: k.formula}
			out = append(out, maker{name, sync.OnceValue(func() Value {
				v := k.make(blank, car, item)
				v.Lo, v.Hi = outward(v.Lo, v.Nominal, v.Hi)
				return v
			})})
		}
	}
	return out
}

// packNames gives the car's packs in file order.
func packNames(car *vehicle.Vehicle) []string {
	items, _, _ := car.Collection("packs")
	return slices.Clone(items)
}
