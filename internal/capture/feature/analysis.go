package feature

import (
	"math"

	"hvproof/internal/capture"
	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// The kinds of captures, by what is looked for.
const (
	KindPrecharge    = "precharge"
	KindDischarge    = "discharge"
	KindEmergencyOff = "emergency_off"
	KindSharing      = "sharing"
	KindCoil         = "coil"
)

// Kinds lists all kinds.
func Kinds() []string {
	return []string{KindPrecharge, KindDischarge, KindEmergencyOff, KindSharing, KindCoil}
}

// A Request says what is looked for in a waveform, and what is known.
type Request struct {
	Kind string
	// Channels gives columns to roles, "dc_link" → "CH2". What is not given
	// is taken from names and units, where they leave no doubt.
	Channels map[string]string
	// Instruments are what recorded the channels, by role; "current" for every
	// current, "" for all roles not named. Without one a feature's U covers fit, quantisation and
	// sampling only.
	Instruments map[string]measure.Instrument
	// Car is what the car's data expect; nil without a car.
	Car *Car
}

// An Analysis is what was found in a waveform.
type Analysis struct {
	Kind     string
	Roles    []Role // which channel is which
	Features []Feature
	Findings []Finding
	Notes    []string // what else should be known, in sentences
	Picture  Picture

	rc constant // of one resistor and one capacitor, where the curve is that
}

// A Feature is one number taken from a waveform, SI.
type Feature struct {
	Name  string
	Dim   quantity.Dim
	Value float64
	// U is the expanded uncertainty: fit, instrument, quantisation, sampling.
	U float64
	// Side is Above or Below where only a bound is known.
	Side quantity.Side
}

// A Finding is something that somebody should look at. Codes are fixed; the
// sentence says what was seen and what to look at next.
type Finding struct{ Code, Sentence string }

// A Picture is what a drawing of the capture shows besides the samples.
type Picture struct {
	Shown  []string // roles whose channels are drawn, first the one marked
	Curves []Curve
	Marks  []Mark
	Levels []Level
}

// A Curve is a fitted curve from one time to another, s.
type Curve struct {
	Name     string
	From, To float64
	At       func(t float64) float64
}

// A Mark is a point of the first channel shown.
type Mark struct {
	T, Y float64
	Text string
}

// A Level is a limit or expected level, SI.
type Level struct {
	Y    float64
	Text string
}

// Feature gives a feature by name.
func (a *Analysis) Feature(name string) (Feature, bool) {
	for _, f := range a.Features {
		if f.Name == name {
			return f, true
		}
	}
	return Feature{}, false
}

// Finding gives a finding by code.
func (a *Analysis) Finding(code string) (Finding, bool) {
	for _, f := range a.Findings {
		if f.Code == code {
			return f, true
		}
	}
	return Finding{}, false
}

// codes are the codes of all findings; true for those because of which
// nothing can be decided: what was seen may not be what was asked for. The
// others are faults of the car.
var codes = map[string]bool{
	"load-during-precharge": false, "closed-early": false, "already-live": false, "never-precharged": false,
	"never-closed": false, "contactor-bounce": false, "resistor-differs": false, "capacitance-differs": false,
	"not-exponential": true, "too-few-samples": true, "clipped": true, "too-noisy": true, "channel-swapped": true,
	"wrong-time-base": true, "needs-pack-voltage": true, "load-not-connected": false, "knee": false,
	"not-below-60V": false, "held-up": false, "discharge-late": false,
	"contactor-stuck": false, "opened-under-load": false, "wrong-order": false,
	"one-pack-missing": false, "share-differs": false, "not-pulled-in": false,
}

// IsCode reports whether a word is the code of a finding.
func IsCode(word string) bool { _, ok := codes[word]; return ok }

// Undecides reports whether a finding of this code leaves everything
// undecided, where the others are faults.
func Undecides(code string) bool { return codes[code] }

// Analyse finds events, features and faults in a waveform. Errors are
// *diag.Error: an unknown kind or role, a channel that is not there, roles
// that cannot be told apart.
func Analyse(w *capture.Waveform, r Request) (*Analysis, error) {
	analysts := map[string]func(*analyst){
		KindPrecharge: (*analyst).precharge, KindDischarge: (*analyst).discharge, KindEmergencyOff: (*analyst).emergencyOff,
		KindSharing: (*analyst).sharing, KindCoil: (*analyst).coil,
	}
	run, ok := analysts[r.Kind]
	if !ok {
		word, _ := diag.Nearest(r.Kind, Kinds())
		return nil, diag.Bad("one of "+list(Kinds())+didYouMean(word), "%q is not a kind of capture", r.Kind)
	}
	roles, notes, err := assign(w, r)
	if err != nil {
		return nil, err
	}
	a := &analyst{w: w, car: r.Car, traces: map[string]*trace{}, out: &Analysis{Kind: r.Kind, Roles: roles, Notes: notes}}
	if a.car == nil {
		a.car = &Car{}
	}
	for _, role := range roles {
		t, err := a.trace(role, r)
		if err != nil {
			return nil, err
		}
		a.traces[role.Role] = t
		a.order = append(a.order, role.Role)
	}
	run(a)
	return a.out, nil
}

func didYouMean(word string) string {
	if word == "" {
		return ""
	}
	return "; did you mean " + word + "?"
}

// analyst is one analysis at work.
type analyst struct {
	w      *capture.Waveform
	car    *Car
	traces map[string]*trace
	order  []string // roles in the file's order
	out    *Analysis
}

// feature adds a feature, unless it is no number: what the data do not tell
// is left out and said.
func (a *analyst) feature(name string, dim quantity.Dim, value, u float64) {
	a.bounded(name, dim, value, u, quantity.Exact)
}

func (a *analyst) bounded(name string, dim quantity.Dim, value, u float64, side quantity.Side) {
	if math.IsNaN(value) || math.IsInf(value, 0) || math.IsNaN(u) || math.IsInf(u, 0) {
		a.note("%s cannot be told from this recording.", name)
		return
	}
	a.out.Features = append(a.out.Features, Feature{Name: name, Dim: dim, Value: value, U: math.Abs(u), Side: side})
}

func (a *analyst) find(code, format string, args ...any) {
	if _, have := a.out.Finding(code); !have {
		a.out.Findings = append(a.out.Findings, Finding{Code: code, Sentence: sentence(format, args...)})
	}
}

func (a *analyst) note(format string, args ...any) {
	a.out.Notes = append(a.out.Notes, sentence(format, args...))
}

// mark marks a point, unless it is none.
func (a *analyst) mark(t, y float64, text string) {
	if x := t + y; math.IsNaN(x) || math.IsInf(x, 0) {
		return
	}
	a.out.Picture.Marks = append(a.out.Picture.Marks, Mark{T: t, Y: y, Text: text})
}
