package deskcheck

import (
	"fmt"
	"strconv"
	"time"

	"hvproof/internal/diag"
	"hvproof/internal/hv"
	"hvproof/internal/measure"
	"hvproof/internal/vehicle"
)

// whoDecides is said beside everything about protective equipment.
const whoDecides = "which protective equipment is worn is decided by a competent person, not by this program"

// Protection says on a day whether the gloves of the car's file and the
// meters suit the car's highest voltage. There is no figure for the energy of
// an arc: nothing here could tell it.
func Protection(car *vehicle.Vehicle, meters []measure.Instrument, day time.Time) diag.List {
	var out diag.List
	highest, err := car.MaxVoltage()
	if err != nil || highest.Hi <= measure.HighVoltage {
		return out
	}
	gloves(car, highest.Hi, day, &out)
	date := day.Format(time.DateOnly)
	for _, m := range meters {
		if len(m.Functions) == 0 {
			continue
		}
		for _, r := range measure.Usable(m, m.Functions[0], measure.Need{Date: date}) {
			if r.Code == measure.CalibrationLapsed || r.Code == measure.CalibrationLater {
				out.Warnf(diag.Place{File: "instruments.yaml"}, "readings with it do not count until it is calibrated", "%s", r.Sentence)
			}
		}
	}
	return out
}

func gloves(car *vehicle.Vehicle, volts float64, day time.Time, out *diag.List) {
	class, stated := car.Place("protection.glove_class")
	if !stated {
		out.Warnf(diag.Place{File: "vehicle.yaml"}, whoDecides,
			"gloves are not checked: protection.glove_class is missing: write the class of the insulating gloves, such as \"0\"")
		return
	}
	if err := hv.GloveFits(class.Text, volts); err != nil {
		out.Add(diag.Problem{Place: class.At, Severity: diag.Refusal, Message: err.Error(), Hint: whoDecides, Source: class.Source, Span: len(class.Text)})
	}
	tested, ok := car.Place("protection.glove_tested")
	months, ok2 := car.Place("protection.glove_months")
	if !ok || !ok2 {
		out.Warnf(class.At, "29 CFR 1910.137 asks for a test every 6 months, FSAE 2026 IN.5.1 for 12",
			"the test of the gloves is not checked: protection.glove_tested or glove_months is missing")
		return
	}
	on, err := time.ParseInLocation(time.DateOnly, tested.Text, day.Location())
	n, err2 := strconv.Atoi(months.Text)
	if err != nil || err2 != nil {
		return // reported with the file
	}
	if err := hv.GloveInDate(on, day, n); err != nil {
		out.Add(diag.Problem{Place: tested.At, Severity: diag.Warning, Message: fmt.Sprintf("%v", err), Hint: "have them tested before the next live work; " + whoDecides, Source: tested.Source, Span: len(tested.Text)})
	}
}
