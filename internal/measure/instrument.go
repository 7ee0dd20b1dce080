package measure

import (
	"math"

	"hvproof/internal/quantity"
)

// An Instrument is one meter, scope, wrench or watch with the data that
// readings taken with it depend on. All numbers are SI.
type Instrument struct {
	ID     string // "meter-1", unique among the instruments
	Kind   string // "multimeter"
	Serial string

	// Category is the measurement category of IEC 61010-2-030: "CAT II",
	// "CAT III" or "CAT IV"; "" if none is stated.
	Category   string
	MaxVoltage float64 // V, highest voltage it may be connected to; 0 if none is stated

	// CalibratedOn and CalibratedUntil are local dates, YYYY-MM-DD; the
	// calibration holds through the last day. "" if not stated.
	CalibratedOn, CalibratedUntil string

	Roles     []string // what steps ask for: "voltmeter"
	Functions []Function
}

// A Function is one thing that an instrument measures.
type Function struct {
	Name   string // "dc_voltage", unique in the instrument
	Dim    quantity.Dim
	Method string // "joined-pole"; "" for none in particular

	TestVoltage float64 // V, applied to the part under test; 0 if none or not stated

	// TestCurrent is the largest current through the part under test, A. It
	// counts only where TestCurrentKnown is true: a current that nobody
	// stated is not a current of nought.
	TestCurrent      float64
	TestCurrentKnown bool

	InputResistance float64 // Ω, of a voltmeter; 0 if not stated
	ByHand          bool    // a time taken by somebody's thumb

	Ranges []MeterRange // by ascending To
}

// A MeterRange is one range of a function with its accuracy,
// ±(PercentOfReading·|reading| + Digits·Digit + PercentOfRange·To + Fixed).
// Despite their names the two percentages are fractions: 3 % is 0.03.
type MeterRange struct {
	From  float64 // least magnitude that the accuracy is specified for, SI
	To    float64 // greatest magnitude shown, SI
	Digit float64 // one count of the last place, SI; 0 for a pointer or a file

	PercentOfReading float64
	Digits           float64
	PercentOfRange   float64
	Fixed            float64 // SI
}

// accuracy gives the specified half-width at a magnitude inside the range.
func (r MeterRange) accuracy(magnitude float64) float64 {
	a := r.PercentOfReading*magnitude + r.Digits*r.Digit + r.PercentOfRange*r.To + r.Fixed
	return math.Max(a, r.Digit)
}

// U gives the uncertainty of a reading shown in the range, SI. Below From,
// where the maker specifies nothing, it reaches everything up to From and
// its accuracy there.
func (r MeterRange) U(reading float64) float64 {
	m := math.Abs(reading)
	if m < r.From {
		return r.From - m + r.accuracy(r.From)
	}
	return r.accuracy(m)
}

// Top gives the greatest magnitude that the function shows, 0 without
// ranges.
func (f Function) Top() float64 {
	top := 0.0
	for _, r := range f.Ranges {
		top = math.Max(top, r.To)
	}
	return top
}

// rangeFor gives the index of the smallest range that shows a magnitude, -1
// if none does.
func (f Function) rangeFor(magnitude float64) int {
	best := -1
	for i, r := range f.Ranges {
		if r.To >= magnitude && (best < 0 || r.To < f.Ranges[best].To) {
			best = i
		}
	}
	return best
}

// neverNegative lists what cannot be below nought, so that a one-sided or
// negative reading of it means something.
func neverNegative(d quantity.Dim) bool {
	switch d {
	case quantity.Ohm, quantity.Farad, quantity.Second, quantity.Hertz, quantity.NewtonMetre, quantity.Metre, quantity.OhmPerVolt:
		return true
	}
	return false
}

// Combine gives the uncertainty of several independent ones that are hard
// half-widths: each counts as rectangular, u = a/√3, and U is 2·√(Σu²), k = 2,
// never above the sum of the half-widths (GUM, JCGM 100:2008, 4.3.7, 5.1.2);
// one alone stays as it is. The bare root of the half-widths would cover 91
// to 92 % only. A negative or undefined one makes the result NaN, by which
// nothing passes.
func Combine(halfWidths ...float64) float64 {
	root, sum := 0.0, 0.0
	for _, a := range halfWidths {
		if !(a >= 0) {
			return math.NaN()
		}
		root = math.Hypot(root, a)
		sum += a
	}
	return math.Min(2/math.Sqrt(3)*root, sum)
}
