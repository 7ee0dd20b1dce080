package feature

import "hvproof/internal/quantity"

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
	DischargeTime       quantity.Range // s, computed, full charge to DischargeTo
	DischargeTo         quantity.Range // V that counts as discharged
	DischargeWithin     quantity.Range // s allowed
	ReleaseTime         quantity.Range // s, of the contactors, with what is across the coils

	Packs  []string                  // names of the packs
	Shares map[string]quantity.Range // 0 to 1, share of each pack
}

func stated(r quantity.Range) bool { return r.Hi != 0 }

// overlaps reports whether x ± u and the range have a value in common.
func overlaps(r quantity.Range, lo, hi float64) bool { return hi >= r.Lo && lo <= r.Hi }
