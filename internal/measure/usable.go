package measure

import (
	"fmt"
	"regexp"
	"time"

	"hvproof/internal/quantity"
)

// Refusal codes.
const (
	CalibrationLapsed  = "calibration-lapsed"
	CalibrationLater   = "calibration-later" // calibrated only after the reading
	CategoryLow        = "category-low"
	VoltageLow         = "voltage-low"
	MethodDiffers      = "method-differs"
	StimulusDiffers    = "stimulus-differs"
	TestCurrentHigh    = "test-current-high"
	TestCurrentUnknown = "test-current-unknown"
	InputResistanceLow = "input-resistance-low"
	NoFunction         = "no-function"
)

// HighVoltage is the DC voltage above which an instrument's category and
// highest voltage must be stated: 60 V (UN R100, ISO 6469-3 class B).
const HighVoltage = 60.0

// Need is what a step asks of an instrument. Zero fields ask for nothing,
// but for the date, which Usable always needs.
type Need struct {
	Date     string  // local date of the reading, YYYY-MM-DD
	Voltage  float64 // V, highest voltage that the instrument may meet
	Category string  // least measurement category; "" asks for CAT III above 60 V
	Method   string

	MinTestVoltage     float64 // V
	MinTestCurrent     float64 // A
	MaxTestCurrent     float64 // A; the function's must then be known
	MinInputResistance float64 // Ω
}

// A Refusal says why an instrument must not be used, or a reading with it
// does not count.
type Refusal struct{ Code, Sentence string }

// Usable gives every reason why a function of an instrument must not be used
// for a reading; none means that it may.
func Usable(i Instrument, f Function, need Need) []Refusal {
	var out []Refusal
	out = append(out, calibration(i, need.Date)...)
	if need.Voltage != 0 && i.touchesConductors() {
		out = append(out, voltage(i, need)...)
	}
	for _, r := range FunctionRefusals(f, need) {
		out = append(out, Refusal{r.Code, i.ID + ": " + r.Sentence})
	}
	return out
}

// touchesConductors reports whether the instrument may get at a conductor:
// it has a function for volts, amperes, ohms or farads. A wrench and a
// stopwatch have none.
func (i Instrument) touchesConductors() bool {
	for _, f := range i.Functions {
		switch f.Dim {
		case quantity.Volt, quantity.Ampere, quantity.Ohm, quantity.Farad:
			return true
		}
	}
	return false
}

var isoDate = regexp.MustCompile(`^\d{4}-\d{2}-\d{2}$`)

func validDate(text string) bool {
	_, err := time.Parse(time.DateOnly, text)
	return err == nil && isoDate.MatchString(text)
}

// calibration compares dates of the form YYYY-MM-DD, which sort as text.
func calibration(i Instrument, date string) []Refusal {
	switch {
	case !validDate(date):
		return []Refusal{{CalibrationLapsed, fmt.Sprintf("%s: the date of the reading is not known, nor whether the calibration held", i.ID)}}
	case !validDate(i.CalibratedUntil):
		return []Refusal{{CalibrationLapsed, fmt.Sprintf("%s: no date is stated until which its calibration holds", i.ID)}}
	case date > i.CalibratedUntil:
		return []Refusal{{CalibrationLapsed, fmt.Sprintf("%s: its calibration held until %s; the reading is of %s and cannot count", i.ID, i.CalibratedUntil, date)}}
	case i.CalibratedOn != "" && date < i.CalibratedOn:
		return []Refusal{{CalibrationLater, fmt.Sprintf("%s: it was calibrated on %s, after the reading of %s", i.ID, i.CalibratedOn, date)}}
	}
	return nil
}

func voltage(i Instrument, need Need) []Refusal {
	var out []Refusal
	v := quantity.Format(quantity.Value{SI: need.Voltage, Dim: quantity.Volt}, 4, quantity.RoundUp)
	want := need.Category
	if want == "" && need.Voltage > HighVoltage {
		want = "CAT III"
	}
	if rank, ok := categoryRank(want); !ok || rankOf(i.Category) < rank {
		has := i.Category
		if has == "" {
			has = "without a stated measurement category"
		}
		out = append(out, Refusal{CategoryLow, fmt.Sprintf("%s is %s; at %s it must be at least %s", i.ID, has, v, want)})
	}
	switch {
	case i.MaxVoltage >= need.Voltage, i.MaxVoltage == 0 && need.Voltage <= HighVoltage:
	case i.MaxVoltage == 0:
		out = append(out, Refusal{VoltageLow, fmt.Sprintf("%s: no highest voltage is stated; the car reaches %s", i.ID, v)})
	default:
		out = append(out, Refusal{VoltageLow, fmt.Sprintf("%s is made for at most %s; the car reaches %s", i.ID, quantity.Format(quantity.Value{SI: i.MaxVoltage, Dim: quantity.Volt}, 4, quantity.RoundDown), v)})
	}
	return out
}

// categoryRank orders the categories; 0 for none stated, false for a word
// that is no category.
func categoryRank(text string) (int, bool) {
	switch text {
	case "":
		return 0, true
	case "CAT II":
		return 2, true
	case "CAT III":
		return 3, true
	case "CAT IV":
		return 4, true
	}
	return 0, false
}

func rankOf(category string) int {
	rank, _ := categoryRank(category)
	return rank
}

// FunctionRefusals gives the reasons that lie in the function alone: method,
// test voltage, test current, input resistance.
func FunctionRefusals(f Function, need Need) []Refusal {
	var out []Refusal
	say := func(code, format string, a ...any) {
		out = append(out, Refusal{code, f.Name + " " + fmt.Sprintf(format, a...)})
	}
	volt := func(x float64) string { return quantity.Value{SI: x, Dim: quantity.Volt}.String() }
	amp := func(x float64) string { return quantity.Value{SI: x, Dim: quantity.Ampere}.String() }
	if need.Method != "" && f.Method != need.Method {
		has := "measures by no named method"
		if f.Method != "" {
			has = "measures by the " + f.Method + " method"
		}
		say(MethodDiffers, "%s, not by the %s method", has, need.Method)
	}
	switch {
	case need.MinTestVoltage == 0 || f.TestVoltage >= need.MinTestVoltage:
	case f.TestVoltage == 0:
		say(StimulusDiffers, "has no stated test voltage; at least %s is asked for", volt(need.MinTestVoltage))
	default:
		say(StimulusDiffers, "tests with %s; at least %s is asked for", volt(f.TestVoltage), volt(need.MinTestVoltage))
	}
	switch {
	case need.MinTestCurrent == 0 || f.TestCurrentKnown && f.TestCurrent >= need.MinTestCurrent:
	case !f.TestCurrentKnown:
		say(StimulusDiffers, "has no stated test current; at least %s is asked for", amp(need.MinTestCurrent))
	default:
		say(StimulusDiffers, "tests with %s; at least %s is asked for", amp(f.TestCurrent), amp(need.MinTestCurrent))
	}
	switch {
	case need.MaxTestCurrent == 0 || f.TestCurrentKnown && f.TestCurrent > 0 && f.TestCurrent <= need.MaxTestCurrent:
	case !f.TestCurrentKnown || !(f.TestCurrent > 0):
		say(TestCurrentUnknown, "has no stated test current; no more than %s may flow, so it must not be connected", amp(need.MaxTestCurrent))
	default:
		say(TestCurrentHigh, "tests with %s; no more than %s may flow, so it must not be connected", amp(f.TestCurrent), amp(need.MaxTestCurrent))
	}
	if need.MinInputResistance != 0 && !(f.InputResistance >= need.MinInputResistance) {
		ohm := func(x float64) string { return quantity.Value{SI: x, Dim: quantity.Ohm}.String() }
		has := "has no stated input resistance"
		if f.InputResistance > 0 {
			has = "has an input resistance of " + ohm(f.InputResistance)
		}
		say(InputResistanceLow, "%s; at least %s is asked for", has, ohm(need.MinInputResistance))
	}
	return out
}

// Find gives the functions of an instrument that read a dimension by a
// method ("" for any), in file order; a refusal if there is none.
func (i Instrument) Find(dim quantity.Dim, method string) ([]Function, *Refusal) {
	var out []Function
	for _, f := range i.Functions {
		if f.Dim == dim && (method == "" || f.Method == method) {
			out = append(out, f)
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	what := dim.String()
	if method != "" {
		what += " by the " + method + " method"
	}
	return nil, &Refusal{NoFunction, fmt.Sprintf("%s has no function that reads %s", i.ID, what)}
}
