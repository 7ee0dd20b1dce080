package rules

import (
	"regexp"

	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// Format is the version of rule-set files that this program reads.
const Format = "1"

// A Status says where a limit's figure comes from.
type Status string

const (
	Read   Status = "read"   // read in the rule book
	Memory Status = "memory" // from memory, unverified, and printed so; also what does not say
	Shop   Status = "shop"   // the shop's own
)

// A Set is a rule set as written. It knows no car.
type Set struct {
	ID, Title, Edition string
	Rule               measure.Rule // how a reading near a limit is decided
	Limits             []Limit      // in file order

	file *yamlfile.File
	at   diag.Place // of the id
}

// A Limit is one limit as written.
type Limit struct {
	ID     string
	At     diag.Place
	Kind   quantity.BoundKind
	Exprs  []yamlfile.Scalar // one formula, or the low and the high one
	Method string
	// Stimulus says the test voltage or current in words; the three formulas
	// say the same in numbers, and may be empty.
	Stimulus           string
	TestVoltageAtLeast yamlfile.Scalar
	TestCurrentAtLeast yamlfile.Scalar
	TestCurrentAtMost  yamlfile.Scalar
	AppliesIf          yamlfile.Scalar
	Source             string
	Status             Status
	Note               string
}

type setForm struct {
	Format       yamlfile.Scalar          `yaml:"format"`
	Rules        yamlfile.Scalar          `yaml:"rules" validate:"required"`
	Title        string                   `yaml:"title" validate:"required"`
	Edition      string                   `yaml:"edition" validate:"required"`
	Note         string                   `yaml:"note"`
	DecisionRule string                   `yaml:"decision_rule" validate:"omitempty,oneof=guard_band simple_acceptance"`
	Limits       yamlfile.Map[*limitForm] `yaml:"limits" validate:"required"`
}

type limitForm struct {
	AtLeast         *yamlfile.Node  `yaml:"at_least"`
	AtMost          *yamlfile.Node  `yaml:"at_most"`
	MagnitudeAtMost *yamlfile.Node  `yaml:"magnitude_at_most"`
	Between         *yamlfile.Node  `yaml:"between"`
	Expected        *yamlfile.Node  `yaml:"expected"`
	AppliesIf       yamlfile.Scalar `yaml:"applies_if"`
	Method          string          `yaml:"method"`
	Stimulus        string          `yaml:"stimulus"`
	VoltageAtLeast  yamlfile.Scalar `yaml:"test_voltage_at_least"`
	CurrentAtLeast  yamlfile.Scalar `yaml:"test_current_at_least"`
	CurrentAtMost   yamlfile.Scalar `yaml:"test_current_at_most"`
	Source          string          `yaml:"source" validate:"required"`
	Status          string          `yaml:"status" validate:"omitempty,oneof=read memory shop"`
	Note            string          `yaml:"note"`
}

var (
	setID   = regexp.MustCompile(`^[a-z][a-z0-9_-]*$`)
	limitID = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}$`)
)

// key is the limit's id as it stands in the file.
func (l Limit) key() yamlfile.Scalar { return yamlfile.Scalar{Text: l.ID, At: l.At} }

// formulas gives all formulas of a limit.
func (l Limit) formulas() []yamlfile.Scalar {
	var out []yamlfile.Scalar
	for _, e := range append([]yamlfile.Scalar{l.AppliesIf, l.TestVoltageAtLeast, l.TestCurrentAtLeast, l.TestCurrentAtMost}, l.Exprs...) {
		if e.Text != "" {
			out = append(out, e)
		}
	}
	return out
}
