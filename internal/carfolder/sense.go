package carfolder

import (
	"fmt"
	"slices"

	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// sense finds what each file says well and the files together say badly:
// instruments that must not meet the car's voltage, proofs that are asked for
// and that nothing gives, unless that is unknown.
func (f *Folder) sense(unknownProofs bool) diag.List {
	var out diag.List
	if v, err := f.Vehicle.MaxVoltage(); err == nil {
		out.Append(f.meters(v.Hi))
	}
	known := f.proofs()
	required, _ := f.Vehicle.Required()
	for _, r := range required {
		if !unknownProofs && !slices.Contains(known, r.Text) {
			hint := "the proofs are the ids under proves: of the procedures"
			if near, ok := diag.Nearest(r.Text, known); ok {
				hint = "did you mean " + near + "?"
			}
			out.Errorf(r.At, hint, "required: no procedure proves %q", r.Text)
		}
	}
	return out
}

// proving is the role of the meter without which nothing can be proved dead.
const proving = "voltmeter"

// meters warns of every meter that must not meet a voltage: a shop may own it
// for other work, and no run counts a reading with it. Where no voltmeter is
// left that may, the car cannot be proved dead, and is refused.
func (f *Folder) meters(volts float64) diag.List {
	var out diag.List
	low, suits := "", false
	for _, in := range f.Instruments {
		refusals := f.tooLow(in, volts)
		for _, r := range refusals {
			out.Warnf(diag.Place{File: "instruments.yaml"}, "do not use it on this car's HV system", "%s", r.Sentence)
		}
		if slices.Contains(in.Roles, proving) {
			suits = suits || len(refusals) == 0
			low = in.ID
		}
	}
	if low != "" && !suits {
		out.Add(diag.Problem{Place: diag.Place{File: "instruments.yaml"}, Severity: diag.Refusal,
			Message: fmt.Sprintf("no %s here may meet the car's %s: it could not be proved dead", proving, quantity.Value{SI: volts, Dim: quantity.Volt}),
			Hint:    "for a traction battery the trade takes CAT III 1000 V"})
	}
	return out
}

// tooLow gives why a meter that measures voltage, or applies one, must not
// meet the car's.
func (f *Folder) tooLow(in measure.Instrument, volts float64) []measure.Refusal {
	for _, fn := range in.Functions {
		if fn.Dim == quantity.Volt || fn.TestVoltage > 0 {
			return slices.DeleteFunc(measure.Usable(in, fn, measure.Need{Voltage: volts}), func(r measure.Refusal) bool {
				return r.Code != measure.CategoryLow && r.Code != measure.VoltageLow
			})
		}
	}
	return nil
}

// proofs gives the ids of all proofs that a procedure of the folder gives.
func (f *Folder) proofs() []string {
	var out []string
	for _, p := range f.Library.Procedures() {
		out = append(out, p.Proves()...)
	}
	return out
}
