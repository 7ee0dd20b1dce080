package procedure

import (
	"hvproof/internal/yamlfile"
)

// written is a procedure or a block as it stands in its file.
type written struct {
	Format        yamlfile.Scalar                 `yaml:"format" validate:"required"`
	Procedure     yamlfile.Scalar                 `yaml:"procedure"`
	Block         yamlfile.Scalar                 `yaml:"block"`
	Title         yamlfile.Scalar                 `yaml:"title" validate:"required"`
	Purpose       yamlfile.Scalar                 `yaml:"purpose"`
	Stage         yamlfile.Scalar                 `yaml:"stage"`
	Live          yamlfile.Scalar                 `yaml:"live"`
	Proves        yamlfile.Map[[]yamlfile.Scalar] `yaml:"proves"`
	HoldsFor      *holdsFor                       `yaml:"holds_for"`
	People        *people                         `yaml:"people"`
	Prerequisites []yamlfile.Scalar               `yaml:"prerequisites"`
	Cautions      []yamlfile.Scalar               `yaml:"cautions"`
	Protective    []yamlfile.Scalar               `yaml:"protective"`
	State         yamlfile.Map[yamlfile.Scalar]   `yaml:"state"`
	Ambient       yamlfile.Scalar                 `yaml:"ambient"`
	AppliesIf     yamlfile.Scalar                 `yaml:"applies_if"`
	MakeSafe      []yamlfile.Scalar               `yaml:"make_safe"`
	Steps         []step                          `yaml:"steps" validate:"required"`
	SignOut       []step                          `yaml:"sign_out"`
}

type holdsFor struct {
	Days yamlfile.Scalar `yaml:"days" validate:"required"`
}

type people struct {
	Least yamlfile.Scalar `yaml:"least" validate:"required"`
}

// step is one element of a list of steps: a step, a loop or an include.
type step struct {
	ID yamlfile.Scalar `yaml:"id"`

	// One of these says what it is.
	Confirm  yamlfile.Scalar `yaml:"confirm"`
	Observe  yamlfile.Scalar `yaml:"observe"`
	Measure  yamlfile.Scalar `yaml:"measure"`
	Time     yamlfile.Scalar `yaml:"time"`
	Compute  yamlfile.Scalar `yaml:"compute"`
	Wait     yamlfile.Scalar `yaml:"wait"`
	Hold     yamlfile.Scalar `yaml:"hold"`
	Capture  yamlfile.Scalar `yaml:"capture"`
	ForEvery yamlfile.Scalar `yaml:"for_every"`
	Include  yamlfile.Scalar `yaml:"include"`

	// Any step.
	Text            yamlfile.Scalar               `yaml:"text"` // compute: what the result is
	Purpose         yamlfile.Scalar               `yaml:"purpose"`
	Source          yamlfile.Scalar               `yaml:"source"`
	AppliesIf       yamlfile.Scalar               `yaml:"applies_if"`
	State           yamlfile.Map[yamlfile.Scalar] `yaml:"state"`
	Cautions        []yamlfile.Scalar             `yaml:"cautions"`
	Part            *yamlfile.Node                `yaml:"part"`
	Witness         yamlfile.Scalar               `yaml:"witness"`
	IfFailed        yamlfile.Scalar               `yaml:"if_failed"`
	ConditionalPass yamlfile.Scalar               `yaml:"conditional_pass"`
	Heats           yamlfile.Map[yamlfile.Scalar] `yaml:"heats"`

	// Confirm and observe.
	Expect  yamlfile.Scalar   `yaml:"expect"`
	Choices []yamlfile.Scalar `yaml:"choices"`

	// Measure, time and, of these, some for compute.
	Unit          yamlfile.Scalar `yaml:"unit"`
	With          yamlfile.Scalar `yaml:"with"`
	Method        yamlfile.Scalar `yaml:"method"`
	Stimulus      yamlfile.Scalar `yaml:"stimulus"`
	MinVoltage    yamlfile.Scalar `yaml:"test_voltage_at_least"`
	MinCurrent    yamlfile.Scalar `yaml:"test_current_at_least"`
	MaxCurrent    yamlfile.Scalar `yaml:"test_current_at_most"`
	LeadCheck     yamlfile.Scalar `yaml:"lead_check"`
	UnfitMeter    yamlfile.Scalar `yaml:"unfit_meter"`
	Limit         *yamlfile.Node  `yaml:"limit"`
	AtLeast       *yamlfile.Node  `yaml:"at_least"`
	AtMost        *yamlfile.Node  `yaml:"at_most"`
	Between       *yamlfile.Node  `yaml:"between"`
	MagnitudeMost *yamlfile.Node  `yaml:"magnitude_at_most"`
	Expected      *yamlfile.Node  `yaml:"expected"`

	From       yamlfile.Map[yamlfile.Scalar] `yaml:"from"`        // compute
	IfMissing  yamlfile.Scalar               `yaml:"if_missing"`  // compute
	For        yamlfile.Scalar               `yaml:"for"`         // wait
	ReleasedBy yamlfile.Scalar               `yaml:"released_by"` // hold
	Called     yamlfile.Scalar               `yaml:"called"`      // for_every
	Steps      []step                        `yaml:"steps"`       // for_every

	// Of captures.
	CaptureKind yamlfile.Scalar               `yaml:"kind"`
	Channels    yamlfile.Map[yamlfile.Scalar] `yaml:"channels"`
	RecordedBy  yamlfile.Map[yamlfile.Scalar] `yaml:"recorded_by"`
	Find        yamlfile.Map[found]           `yaml:"find"`
}
