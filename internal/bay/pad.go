package bay

import (
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/quantity"
)

// plainUnit is the unit key of a plain number.
const plainUnit = "1"

// A padKeys is what a pad can type of one quantity.
type padKeys struct {
	name  string // of the quantity, in the wording after "quantity "
	dim   quantity.Dim
	units []string // smallest first; none is chosen beforehand
}

// padUnits gives the unit keys of a pad by dimension.
var padUnits = []padKeys{
	{"voltage", quantity.Volt, []string{"mV", "V", "kV"}},
	{"resistance", quantity.Ohm, []string{"mΩ", "Ω", "kΩ", "MΩ", "GΩ"}},
	{"current", quantity.Ampere, []string{"mA", "A", "kA"}},
	{"time", quantity.Second, []string{"ms", "s", "min"}},
	{"capacitance", quantity.Farad, []string{"nF", "µF", "mF"}},
	{"torque", quantity.NewtonMetre, []string{"N·m", "lbf·ft"}},
	{"energy", quantity.Joule, []string{"J", "kJ"}},
	{"power", quantity.Watt, []string{"mW", "W", "kW"}},
	{"charge", quantity.Coulomb, []string{"mAh", "Ah", "C"}},
	{"temperature", quantity.Kelvin, []string{"°C", "K"}},
	{"frequency", quantity.Hertz, []string{"Hz", "kHz", "rpm"}},
	{"length", quantity.Metre, []string{"mm", "m"}},
	{"ratio", quantity.One, []string{"%", plainUnit}},
}

// unitsOf gives the unit keys for a dimension.
func unitsOf(d quantity.Dim) []string {
	for _, p := range padUnits {
		if p.dim == d {
			return p.units
		}
	}
	return []string{d.String()}
}

// digitsShape is what the keys of a pad can make.
var digitsShape = regexp.MustCompile(`^[<>]?-?(\d{1,12}(\.\d{0,12})?|\.\d{1,12})$`)

// leadingPoint is a point with no digit before it: .5 is written 0.5.
var leadingPoint = regexp.MustCompile(`^([<>]?-?)\.`)

// padReading puts together what was typed on a pad: the text that the machine
// is given, and the same in words. The fault is the name of a text that says
// what is wrong, empty if nothing is.
func (w *Wording) padReading(digits, unit string, over bool, d quantity.Dim) (text, words, fault string) {
	unit = strings.TrimSpace(unit)
	if unit != "" && !slices.Contains(unitsOf(d), unit) {
		return "", "", "fault unit"
	}
	digits = strings.Map(func(r rune) rune {
		switch r {
		case ' ', '\u00a0', '\u202f':
			return -1
		case '−':
			return '-'
		}
		return r
	}, digits)
	if over {
		switch digits {
		case "":
			return "OL", w.say("say over"), ""
		case "-":
			return "-OL", w.say("say minus") + " " + w.say("say over"), ""
		}
		return "", "", "fault over and digits"
	}
	if w.comma() && strings.Count(digits, ",") == 1 && !strings.Contains(digits, ".") {
		digits = strings.Replace(digits, ",", ".", 1) // shown back with the point
	}
	switch {
	case digits == "":
		return "", "", "fault no digits"
	case !w.comma() && strings.Contains(digits, ","):
		return "", "", "fault comma"
	case !digitsShape.MatchString(digits):
		return "", "", "fault digits"
	case unit == "":
		return "", "", "fault no unit"
	}
	digits = strings.TrimSuffix(leadingPoint.ReplaceAllString(digits, "${1}0."), ".")
	text = digits
	if unit != plainUnit {
		text += " " + unit
	}
	return text, w.spoken(digits, unit), ""
}
