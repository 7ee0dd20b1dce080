package plan

import (
	"slices"
	"strings"

	"hvproof/internal/can"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// A Plan is one procedure unrolled for one car: what a run executes, and
// what is judged afterwards. It does not change once a run has named it.
type Plan struct {
	Car       string // the car's name
	Procedure string // the procedure's id
	Title     string
	Stage     string // "A" to "E"
	Purpose   string
	Live      bool // a live procedure: make safe first after a resume
	Practice  bool // the folder is a practice folder

	// NotApplicable is the reason why the procedure does not concern this
	// car, to be printed after "not applicable because", or empty. Such a plan has no steps.
	NotApplicable string

	Proves        []Proof  // what a passed run establishes
	Prerequisites []string // ids of the procedures or proofs that must hold before
	People        int      // least number of different people, at least 1
	Protective    []Text   // protective equipment
	Cautions      []Text   // warnings about the whole procedure
	MakeSafe      []string // what to do to make the car safe, in order
	Ambient       bool     // temperature and humidity are asked for

	// Retest lists the turns of loops that the plan was cut down to; see
	// [Plan.Restrict]. Empty for a plan of the whole procedure.
	Retest []string

	CarVoltage float64 // the car's highest voltage in V; 0 if the car has none
	Files      []File  // the files that the plan was made from
	Steps      []Step

	// SignOut is the index of the first sign-out step, done last and also
	// after a stop or a failure; len(Steps) if there is none.
	SignOut int
}

// A Proof is what a passed run establishes about named parts of the car.
type Proof struct {
	ID        string
	Parts     []string // never empty
	HoldsDays int      // 0: until work on a part
}

// A Text is a caution or a piece of protective equipment.
type Text struct {
	ID   string // as in cautions.yaml
	Text string // what is shown
}

// A File is one file that the plan was made from.
type File struct {
	Name   string // relative to the car folder
	Origin string // "shipped", "changed" or "own"
	Digest string // SHA-256 of its bytes, 64 hexadecimal digits
}

// The origins of a File.
const (
	Shipped = "shipped" // as built in
	Changed = "changed" // built in, and edited by the shop
	Own     = "own"     // the shop's
)

// The kinds of a Step.
const (
	Confirm = "confirm" // something is done, and said to be
	Observe = "observe" // something is seen, and told in one of the choices' words
	Measure = "measure" // a reading off an instrument
	Time    = "time"    // a measured time
	Compute = "compute" // a value that follows from others
	Wait    = "wait"    // a time that must pass
	Hold    = "hold"    // nothing goes on until a named authority releases it
	Capture = "capture" // a waveform, and numbers taken from it
)

// What a failed step does to the run, as Step.IfFailed.
const (
	Stop         = "stop"      // the run ends as failed
	MakeSafeStop = "make_safe" // make safe first, then the run ends as failed
	Note         = "note"      // the run goes on; it has failed all the same
)

// When leads are checked, as Step.LeadCheck.
const (
	Before = "before" // this step proves the leads before the measurements that follow
	After  = "after"  // this step proves them again
)

// What happens with a meter that cannot count for a step, as
// Step.UnfitMeter.
const (
	RefuseMeter = "refuse" // the reading is refused
	MarkMeter   = "mark"   // the reading is taken, marked, and proves nothing
)

// A TestRange is what a meter must put through the part under test: its test
// voltage in V and test current in A. A zero field asks for nothing.
type TestRange struct {
	MinTestVoltage, MinTestCurrent, MaxTestCurrent float64
}

// A Step is one step for this car: loops unrolled, conditions resolved,
// limits attached.
type Step struct {
	Path    string // "outside_right.left_minus.opens", unique in the plan
	Kind    string // Confirm to Capture
	Text    string // the instruction, one sentence
	Purpose string
	Source  string

	// NotApplicable is the reason why the step does not concern this car,
	// "has(pyro) = false", to be printed after "not applicable because", or
	// empty. Such a step is shown with its reason and not done.
	NotApplicable string

	// Items are the turns of loops around the step, outermost first, each as
	// the beginning of the path: "outside_right", "outside_right.left_minus".
	Items []string

	Parts           []string // the parts that the step is about
	Cautions        []Text   // shown and acknowledged where they change
	State           []State  // the required state of the car
	Witness         bool     // a second person must see it
	Hold            string   // the role that releases a Hold
	IfFailed        string   // Stop, MakeSafeStop or Note
	ConditionalPass bool     // a conditional pass is accepted

	// Expect is the wanted word of a Confirm or Observe, one of Choices. It
	// may be empty for an Observe that only records which of the choices is so.
	Expect  string
	Choices []string // Confirm, Observe: the words that may be answered

	Dim        quantity.Dim // Measure, Time, Compute: of the reading or result
	Role       string       // Measure, Time, Capture: the instrument role
	Method     string       // Measure, Time: how; a reading by another method does not count
	Stimulus   string       // Measure, Time: the test voltage or current, in words
	TestRange               // Measure, Time: the same for the choice of the meter
	LeadCheck  string       // "", Before or After
	UnfitMeter string       // Measure, Time, Capture: RefuseMeter or MarkMeter

	Heats []Heat // what every attempt puts into resistors

	Seconds float64 // Wait

	Function string // Compute: the name of the function; Capture: what is looked for, "precharge"
	From     []Arg  // Compute: its arguments, in the function's own order; Capture: what the car's data expect

	Channels  []Channel    // Capture: columns that are settled beforehand
	Signals   []can.Signal // Capture: what the car's CAN says, should the file be a log of it
	Recorders []Recorder   // Capture: channels that another instrument than Role's recorded

	Bounds []Bound // Measure, Time, Compute, Capture
}

// A Channel says which column of a capture has which role.
type Channel struct {
	Role   string // "dc_link"
	Column string // as the file names it
}

// A Recorder says which instrument recorded a channel of a capture, where it
// is not that of the step's own role: a clamp beside a scope.
type Recorder struct {
	Channel string // "current" for every current, "current.left" for one
	Role    string // the instrument role
}

// A Heat is what one attempt at a step puts into a resistor of the car, at
// worst: the pre-charge resistor when the DC link is charged, the discharge
// resistor when it is emptied.
type Heat struct {
	Part   string
	Joules float64
	Pulse  float64 // J that it survives in one go; 0 if not known
	Watts  float64 // that it sheds for ever; 0 if not known
}

// A State is one thing about the car that must be so during a step.
type State struct {
	Name  string // "packs", "service_disconnect", "contactors.left_plus"
	Value string // "in", "closed"
}

// An Arg is one argument of a computed step: the value of an earlier step,
// a word, or a value of the car with its tolerance.
type Arg struct {
	Name string
	Step string // path of the earlier step; empty if not from a step
	Text string // a word such as "negative"; empty if not a word

	// Where Step and Text are empty: the worst-case range of Formula over
	// the car's tolerances, SI.
	Lo, Nominal, Hi                 float64
	Dim                             quantity.Dim
	Formula, Substituted, Exactness string
	Inputs                          []Input
}

// IsValue reports whether the argument is a value of the car.
func (a Arg) IsValue() bool { return a.Step == "" && a.Text == "" }

// A Bound is one limit or expected window, with all that is needed to
// explain it and to judge a reading by it.
type Bound struct {
	ID string // the limit's id, or the step's path for a limit written in the step

	// Feature is the number of a Capture that the bound is for, "tau"; empty
	// for every other kind of step.
	Feature string

	quantity.Bound // SI; kind Expected is a window

	Formula     string  // as written
	Substituted string  // with the numbers put in
	Exactness   string  // "exact", "corners", "outer"
	Inputs      []Input // the car's values that it rests on

	Rules     string // id of the rule set; empty for a limit written in the step
	Source    string // clause
	Method    string // a reading by another method does not count
	Stimulus  string // the test voltage or current that it asks for, in words
	TestRange        // the same for the choice of the meter

	// Rule says how a reading near the limit is decided.
	Rule measure.Rule

	// Governs is true for the strictest of the limits for one quantity,
	// method and stimulus; the others are shown and not judged by.
	Governs bool
}

// An Input is one value of the car that a formula used, SI.
type Input struct {
	Name   string
	Lo, Hi float64
	Dim    quantity.Dim
}

// IsMissing stands in the reason of a step that is not done because the car's
// file does not give a value.
const IsMissing = " is missing"

// LacksValue reports whether the step is not done because the car's file does
// not give a value that it needs, not because the car lacks the thing.
func (s *Step) LacksValue() bool {
	return s.Kind == Compute && strings.Contains(s.NotApplicable, IsMissing)
}

// Step gives the index of the step with the path.
func (p *Plan) Step(path string) (int, bool) {
	for i := range p.Steps {
		if p.Steps[i].Path == path {
			return i, true
		}
	}
	return 0, false
}

// Roles gives the instrument roles of the step, its own first.
func (s *Step) Roles() []string {
	var out []string
	if s.Role != "" {
		out = append(out, s.Role)
	}
	for _, r := range s.Recorders {
		if !slices.Contains(out, r.Role) {
			out = append(out, r.Role)
		}
	}
	return out
}

// Found gives the numbers of a capture that have bounds, each once, as the file
// orders them.
func (s *Step) Found() []string {
	var out []string
	for _, b := range s.Bounds {
		if b.Feature != "" && !slices.Contains(out, b.Feature) {
			out = append(out, b.Feature)
		}
	}
	return out
}

// TakesMeter reports whether the step needs an instrument.
func (s *Step) TakesMeter() bool { return s.Kind == Measure || s.Kind == Time || s.Kind == Capture }

// Limits gives the bounds that a reading is judged by: those that govern,
// without windows.
func (s *Step) Limits() []Bound {
	var out []Bound
	for _, b := range s.Bounds {
		if b.Governs && b.Kind != quantity.Expected {
			out = append(out, b)
		}
	}
	return out
}

// Windows gives the expected windows of the step.
func (s *Step) Windows() []Bound {
	var out []Bound
	for _, b := range s.Bounds {
		if b.Kind == quantity.Expected {
			out = append(out, b)
		}
	}
	return out
}
