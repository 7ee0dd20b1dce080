package feature

import (
	"strings"

	"hvproof/internal/quantity"
)

// A Car is what the car's data expect of a capture. A range without Hi is
// not known. All SI, worst case over tolerances.
type Car struct {
	Tau         quantity.Range // s, of pre-charge
	Resistance  quantity.Range // Ω, of the pre-charge resistor
	Capacitance quantity.Range // F, of the DC link
	Target      quantity.Range // 0 to 1, at which the main contactor may close
	Reachable   quantity.Range // 0 to 1, what bleed and pre-charge resistor let the link reach

	MaxVoltage          quantity.Range // V, highest of the car
	DischargeTau        quantity.Range // s
	DischargeResistance quantity.Range // Ω, everything that discharges the link
	DischargeWithin     quantity.Range // s allowed

	Packs  []string                  // names of the packs
	Shares map[string]quantity.Range // 0 to 1, share of each pack
}

func stated(r quantity.Range) bool { return r.Hi != 0 }

// overlaps reports whether x ± u and the range have a value in common.
func overlaps(r quantity.Range, lo, hi float64) bool { return hi >= r.Lo && lo <= r.Hi }

// The car's values that a capture is compared with, by their names in
// formulas. "*" stands for every pack or contactor.
var carValues = []struct {
	name string
	of   func(c *Car) *quantity.Range
}{
	{"precharge.tau", func(c *Car) *quantity.Range { return &c.Tau }},
	{"precharge.resistance", func(c *Car) *quantity.Range { return &c.Resistance }},
	{"precharge.target", func(c *Car) *quantity.Range { return &c.Target }},
	{"precharge.reachable", func(c *Car) *quantity.Range { return &c.Reachable }},
	{"dc_link.capacitance", func(c *Car) *quantity.Range { return &c.Capacitance }},
	{"system.max_voltage", func(c *Car) *quantity.Range { return &c.MaxVoltage }},
	{"discharge.tau", func(c *Car) *quantity.Range { return &c.DischargeTau }},
	{"discharge.total_resistance", func(c *Car) *quantity.Range { return &c.DischargeResistance }},
	{"discharge.allowed_time", func(c *Car) *quantity.Range { return &c.DischargeWithin }},
}

// shareName is the name of a pack's share.
func shareName(pack string) string { return "packs." + pack + ".share" }

// PackOf gives the pack whose share a value is.
func PackOf(name string) (string, bool) {
	rest, ok := strings.CutPrefix(name, "packs.")
	pack, all := strings.CutSuffix(rest, ".share")
	return pack, ok && all && pack != ""
}

// CarValues lists the names of all values of a car with these packs that a
// capture may be compared with.
func CarValues(packs []string) []string {
	var out []string
	for _, v := range carValues {
		out = append(out, v.name)
	}
	for _, p := range packs {
		out = append(out, shareName(p))
	}
	return out
}

// NewCar takes a car's values by their names; get says whether there is one.
func NewCar(packs []string, get func(name string) (quantity.Range, bool)) *Car {
	c := &Car{Packs: packs, Shares: map[string]quantity.Range{}}
	for _, v := range carValues {
		if r, ok := get(v.name); ok {
			*v.of(c) = r
		}
	}
	for _, p := range packs {
		if r, ok := get(shareName(p)); ok {
			c.Shares[p] = r
		}
	}
	return c
}
