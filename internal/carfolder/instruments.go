package carfolder

import (
	"regexp"
	"slices"
	"time"

	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// The shapes of instruments.yaml.
type (
	instrumentsShape struct {
		Format      string                        `yaml:"format" validate:"required,oneof=1"`
		Instruments yamlfile.Map[instrumentShape] `yaml:"instruments"`
	}
	instrumentShape struct {
		Kind            string                      `yaml:"kind" validate:"required"`
		Serial          string                      `yaml:"serial"`
		Roles           []yamlfile.Scalar           `yaml:"roles" validate:"required"`
		Category        yamlfile.Scalar             `yaml:"category"`
		MaxVoltage      yamlfile.Scalar             `yaml:"max_voltage"`
		CalibratedOn    yamlfile.Scalar             `yaml:"calibrated_on"`
		CalibratedUntil yamlfile.Scalar             `yaml:"calibrated_until" validate:"required"`
		Functions       yamlfile.Map[functionShape] `yaml:"functions" validate:"required"`
	}
	functionShape struct {
		Unit            yamlfile.Scalar `yaml:"unit" validate:"required"`
		Method          string          `yaml:"method"`
		TestVoltage     yamlfile.Scalar `yaml:"test_voltage"`
		TestCurrent     yamlfile.Scalar `yaml:"test_current"`
		InputResistance yamlfile.Scalar `yaml:"input_resistance"`
		ByHand          bool            `yaml:"by_hand"`
		Ranges          []rangeShape    `yaml:"ranges" validate:"required"`
	}
	rangeShape struct {
		From      yamlfile.Scalar `yaml:"from"`
		To        yamlfile.Scalar `yaml:"to" validate:"required"`
		Digit     yamlfile.Scalar `yaml:"digit"`
		Reading   yamlfile.Scalar `yaml:"reading"`
		Digits    yamlfile.Scalar `yaml:"digits"`
		FullScale yamlfile.Scalar `yaml:"full_scale"`
		Fixed     yamlfile.Scalar `yaml:"fixed"`
	}
)

var (
	instrumentID = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]{0,62}$`)
	roleName     = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}$`)
	categories   = []string{"CAT II", "CAT III", "CAT IV"}
)

// readInstruments reads instruments.yaml into f.
func (f *Folder) readInstruments(all *diag.List) {
	y, faults := f.read("instruments.yaml")
	all.Append(faults)
	if y == nil || faults.Errors() {
		return
	}
	var shape instrumentsShape
	all.Append(y.Decode(&shape))
	d := instrumentDecoder{file: y, faults: all}
	for _, id := range shape.Instruments.Keys() {
		s, _ := shape.Instruments.Get(id.Text)
		f.Instruments = append(f.Instruments, d.instrument(id, s))
	}
}

type instrumentDecoder struct {
	file   *yamlfile.File
	faults *diag.List
}

func (d *instrumentDecoder) fault(s yamlfile.Scalar, hint, format string, args ...any) {
	d.faults.Add(d.file.At(s, hint, format, args...))
}

func (d *instrumentDecoder) instrument(id yamlfile.Scalar, s instrumentShape) measure.Instrument {
	if !instrumentID.MatchString(id.Text) {
		d.fault(id, "use small letters, digits, '-', such as meter-1", "%q is not an instrument's name", id.Text)
	}
	in := measure.Instrument{ID: id.Text, Kind: s.Kind, Serial: s.Serial, Category: s.Category.Text,
		MaxVoltage:   d.number(s.MaxVoltage, quantity.Volt, "max_voltage"),
		CalibratedOn: d.date(s.CalibratedOn), CalibratedUntil: d.date(s.CalibratedUntil)}
	if s.Category.Given() && !slices.Contains(categories, s.Category.Text) {
		d.fault(s.Category, "write CAT II, CAT III or CAT IV", "%q is not a measurement category", s.Category.Text)
	}
	if in.CalibratedOn > in.CalibratedUntil && in.CalibratedUntil != "" {
		d.fault(s.CalibratedUntil, "", "the calibration ends before %s, when it was done", in.CalibratedOn)
	}
	for _, r := range s.Roles {
		if !roleName.MatchString(r.Text) {
			d.fault(r, "use small letters, digits and _, such as voltmeter", "%q is not a role", r.Text)
		}
		in.Roles = append(in.Roles, r.Text)
	}
	for _, name := range s.Functions.Keys() {
		shape, _ := s.Functions.Get(name.Text)
		in.Functions = append(in.Functions, d.function(name, shape))
	}
	return in
}

func (d *instrumentDecoder) function(name yamlfile.Scalar, s functionShape) measure.Function {
	out := measure.Function{Name: name.Text, Method: s.Method, ByHand: s.ByHand,
		TestVoltage:      d.number(s.TestVoltage, quantity.Volt, "test_voltage"),
		TestCurrent:      d.number(s.TestCurrent, quantity.Ampere, "test_current"),
		TestCurrentKnown: s.TestCurrent.Given(),
		InputResistance:  d.number(s.InputResistance, quantity.Ohm, "input_resistance")}
	if !roleName.MatchString(name.Text) {
		d.fault(name, "use small letters, digits and _, such as dc_voltage", "%q is not a function's name", name.Text)
	}
	if !s.Unit.Given() {
		return out
	}
	dim, err := quantity.ParseUnit(s.Unit.Text)
	if err != nil {
		d.fault(s.Unit, "write V, Ω, A, s, N·m …", "%v", err)
		return out
	}
	out.Dim = dim
	for _, r := range s.Ranges {
		out.Ranges = append(out.Ranges, d.meterRange(r, dim))
	}
	slices.SortStableFunc(out.Ranges, func(a, b measure.MeterRange) int {
		switch {
		case a.To < b.To:
			return -1
		case a.To > b.To:
			return 1
		}
		return 0
	})
	return out
}

func (d *instrumentDecoder) meterRange(s rangeShape, dim quantity.Dim) measure.MeterRange {
	r := measure.MeterRange{From: d.number(s.From, dim, "from"), To: d.number(s.To, dim, "to"), Digit: d.number(s.Digit, dim, "digit"),
		PercentOfReading: d.number(s.Reading, quantity.One, "reading"), Digits: d.number(s.Digits, quantity.One, "digits"),
		PercentOfRange: d.number(s.FullScale, quantity.One, "full_scale"), Fixed: d.number(s.Fixed, dim, "fixed")}
	if !s.Reading.Given() && !s.FullScale.Given() && !s.Fixed.Given() {
		d.fault(s.To, "give reading: 0.5% with digits: 2, or full_scale: 3%, or fixed: 0.21 s", "the range to %s has no accuracy", s.To.Text)
	}
	if s.Digits.Given() && r.Digit == 0 {
		d.fault(s.Digits, "give digit: 0.1 V, what the last place counts", "digits are stated and the last digit is not")
	}
	if s.To.Given() && r.To > 0 && (r.Digit > r.To || r.From >= r.To) {
		d.fault(s.To, "", "the range ends before it begins")
	}
	return r
}

// number reads a value of a dimension that is not negative; 0 if absent.
func (d *instrumentDecoder) number(s yamlfile.Scalar, dim quantity.Dim, what string) float64 {
	if !s.Given() {
		return 0
	}
	v, err := quantity.Parse(s.Text)
	if err != nil {
		hint := ""
		if syntax, ok := err.(*quantity.SyntaxError); ok {
			hint = syntax.Hint
		}
		d.fault(s, hint, "%s: %v", what, err)
		return 0
	}
	switch {
	case v.Dim != dim:
		d.fault(s, "", "%s: %q is in %s, and %s is wanted", what, s.Text, v.Dim, dim)
	case v.SI < 0:
		d.fault(s, "", "%s: %q is negative", what, s.Text)
	default:
		return v.SI
	}
	return 0
}

// date reads a day; "" if absent or faulty.
func (d *instrumentDecoder) date(s yamlfile.Scalar) string {
	if !s.Given() {
		return ""
	}
	if t, err := time.Parse(time.DateOnly, s.Text); err != nil || t.Format(time.DateOnly) != s.Text {
		d.fault(s, "write it as 2027-06-30", "%q is not a date", s.Text)
		return ""
	}
	return s.Text
}
