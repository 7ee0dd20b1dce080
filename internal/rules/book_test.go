package rules_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/rules"
)

// set writes a rule set with one limit called x.
func set(id, limit string) string {
	return "rules: " + id + "\ntitle: T\nedition: E1\nlimits:\n  x: {" + limit + ", source: S, status: read}\n"
}

const twoSets = "format: 1\nname: X\nassessed_to: [a, b]\nextra: {r: 10 Ω ±10%, z: 10 Ω ±20%, i: 1 A ±50%}\n"

func ohms(t *testing.T, carText string, sets ...string) []plan.Bound {
	t.Helper()
	v := carOf(t, carText)
	var all []*rules.Set
	for _, s := range sets {
		all = append(all, setOf(t, s))
	}
	book := bookOf(t, v, all...)
	bounds, problems := book.Apply("x", v.Env(), quantity.Ohm, "")
	require.Empty(t, problems.String())
	return bounds
}

func governs(bounds []plan.Bound) string {
	var out []string
	for _, b := range bounds {
		if b.Governs {
			out = append(out, b.Rules)
		}
	}
	return strings.Join(out, " ")
}

func TestTheStrictestGoverns(t *testing.T) {
	for _, c := range []struct{ a, b, want string }{
		{"at_least: 1 kΩ", "at_least: 2 kΩ", "b"},
		{"at_least: 2 kΩ", "at_least: 1 kΩ", "a"},
		{"at_most: 0.1 Ω", "at_most: 0.3 Ω", "a"},
		{"at_most: 0.3 Ω", "at_most: 0.1 Ω", "b"},
		{"magnitude_at_most: 0.3 Ω", "magnitude_at_most: 0.1 Ω", "b"},
		{"at_most: 0.1 Ω", "at_most: 0.1 Ω", "a"},
		{"'between': [1 Ω, 4 Ω]", "'between': [2 Ω, 3 Ω]", "b"},
		{"'between': [1 Ω, 3 Ω]", "'between': [2 Ω, 4 Ω]", "a b"},
		// Different kinds are different requirements.
		{"at_least: 1 Ω", "at_most: 2 Ω", "a b"},
		{"at_most: 1 Ω", "magnitude_at_most: 0.5 Ω", "a b"},
		// So are different methods and stimuli: 0.1 Ω at 0.2 A and 0.3 Ω at 1 A.
		{"at_most: 0.1 Ω, test_current_at_least: 0.2 A", "at_most: 0.3 Ω, test_current_at_least: 1 A", "a b"},
		{"at_most: 0.1 Ω, test_current_at_least: 0.2 A", "at_most: 0.3 Ω, test_current_at_least: 0.2 A, stimulus: in other words", "a"},
		{"at_most: 0.1 Ω, stimulus: at 0.2 A", "at_most: 0.3 Ω, stimulus: at 1 A", "a b"},
		{"at_most: 0.1 Ω, stimulus: at 0.2 A", "at_most: 0.3 Ω", "a b"},
		{"at_least: 1 kΩ, method: m", "at_least: 2 kΩ, method: n", "a b"},
		{"at_least: 1 kΩ, method: m", "at_least: 2 kΩ, method: m", "b"},
		// Windows stand beside each other.
		{"expected: [1 Ω, 4 Ω]", "expected: [2 Ω, 3 Ω]", "a b"},
	} {
		bounds := ohms(t, twoSets, set("a", c.a), set("b", c.b))
		assert.Len(t, bounds, 2, "both are shown")
		assert.Equal(t, c.want, governs(bounds), "%s | %s", c.a, c.b)
	}
}

// TestDecisionRulesAreNotCompared: which of 0.12 Ω with a guard band and
// 0.11 Ω without is stricter depends on the meter.
func TestDecisionRulesAreNotCompared(t *testing.T) {
	bounds := ohms(t, twoSets, set("a", "at_most: 0.12 Ω"), "decision_rule: simple_acceptance\n"+set("b", "at_most: 0.11 Ω"))
	assert.Equal(t, "a b", governs(bounds))
	assert.Equal(t, measure.GuardBand, bounds[0].Rule)
	assert.Equal(t, measure.SimpleAcceptance, bounds[1].Rule)
}

func TestCorners(t *testing.T) {
	for limit, want := range map[string][2]float64{
		"at_least: extra.r":                        {11, 0},
		"at_most: extra.r":                         {0, 9},
		"magnitude_at_most: extra.r":               {0, 9},
		"expected: extra.r":                        {9, 11},
		"expected: [extra.r, extra.z * 2]":         {9, 24},
		"'between': extra.r":                       {9, 11},
		"'between': [extra.r, extra.z * 2]":        {11, 16},
		"at_most: extra.r - extra.r / 2":           {0, 4.5}, // the same part on both sides of a difference
		"at_most: 'extra.i > 1 A ? 5 Ω : extra.r'": {0, 5},   // undecided over the tolerance: both branches
	} {
		b := ohms(t, twoSets, set("a", limit), set("b", "at_least: 1 Ω"))[0]
		near(t, want[0], b.Low)
		near(t, want[1], b.High)
	}
}

func TestBoundsExplainThemselves(t *testing.T) {
	b := ohms(t, twoSets, set("a", "at_least: 2 * extra.r, method: m, test_voltage_at_least: 100 V, test_current_at_most: 10 mA, test_current_at_least: extra.i"), set("b", "at_most: 1 Ω"))[0]
	assert.Equal(t, "x", b.ID)
	assert.Equal(t, "a", b.Rules)
	assert.Equal(t, "2 * extra.r", b.Formula)
	assert.Contains(t, b.Substituted, "9 Ω … 11 Ω")
	assert.Equal(t, formula.Corners, b.Exactness)
	require.Len(t, b.Inputs, 1)
	assert.Equal(t, plan.Input{Name: "extra.r", Lo: 9, Hi: 11, Dim: quantity.Ohm}, b.Inputs[0])
	assert.Equal(t, "S (edition: E1)", b.Source)
	assert.Equal(t, "m", b.Method)
	assert.Equal(t, plan.TestRange{MinTestVoltage: 100, MinTestCurrent: 1.5, MaxTestCurrent: 0.01}, b.TestRange)
	assert.Equal(t, "at least 100 V, at least 1.5 A, at most 10 mA", b.Stimulus)
}

func TestUnverifiedIsSaidSo(t *testing.T) {
	for status, want := range map[string]string{"read": "S (edition: E1)", "shop": "S (edition: E1)", "memory": "S (edition: E1), from memory, unverified"} {
		b := ohms(t, twoSets, strings.Replace(set("a", "at_most: 1 Ω"), "status: read", "status: "+status, 1), set("b", "at_most: 2 Ω"))[0]
		assert.Equal(t, want, b.Source)
	}
	silent := strings.Replace(set("a", "at_most: 1 Ω"), ", status: read", "", 1)
	assert.Equal(t, "S (edition: E1), from memory, unverified", ohms(t, twoSets, silent, set("b", "at_most: 2 Ω"))[0].Source)
}

func TestOnlyChosenSetsCount(t *testing.T) {
	v := carOf(t, "format: 1\nname: X\nassessed_to: [a]\n")
	book := bookOf(t, v, setOf(t, set("a", "at_most: 2 Ω")), setOf(t, set("b", "at_most: 1 Ω")), setOf(t, strings.Replace(set("c", "at_most: 1 Ω"), "x:", "y:", 1)))
	bounds, problems := book.Apply("x", v.Env(), quantity.Ohm, "")
	require.Empty(t, problems.String())
	require.Len(t, bounds, 1)
	assert.Equal(t, 2.0, bounds[0].High)
	assert.Len(t, book.All(), 1)
	assert.True(t, book.Has("x"))
	assert.False(t, book.Has("y"))
	assert.True(t, book.Known("y"))
	assert.False(t, book.Known("z"))

	_, problems = book.Apply("y", v.Env(), quantity.Ohm, "")
	require.True(t, problems.Errors(), "never silently without a limit")
	assert.Equal(t, `no rule set that the car is assessed to has a limit "y"; the car is not assessed to c, which has it`, problems[0].Error())
}

func TestAssessedTo(t *testing.T) {
	sets := []*rules.Set{setOf(t, set("workshop", "at_most: 2 Ω")), setOf(t, set("un-r100", "at_most: 1 Ω"))}
	_, problems := rules.NewBook(sets, carOf(t, "format: 1\nname: X\nassessed_to: [workshp]\n"))
	require.Len(t, problems, 1)
	assert.Equal(t, `vehicle.yaml:3:15: the car is assessed to "workshp", and there is no such rule set; did you mean "workshop"?`, problems[0].Error())
	_, problems = rules.NewBook(nil, carOf(t, "format: 1\nname: X\nassessed_to: [workshop]\n"))
	require.Len(t, problems, 1)
	assert.Contains(t, problems[0].Error(), "no file in rules/ could be read as one")
	_, problems = rules.NewBook(append(sets, sets[0]), carOf(t, "format: 1\nname: X\nassessed_to: [workshop]\n"))
	require.Len(t, problems, 1)
	assert.Contains(t, problems[0].Error(), `two rule sets are called "workshop"`)
}

func TestMethodOfTheStep(t *testing.T) {
	v := carOf(t, twoSets)
	book := bookOf(t, v, setOf(t, set("a", "at_least: 1 kΩ, method: two-voltage")), setOf(t, set("b", "at_least: 2 kΩ")))
	for method, faults := range map[string]bool{"": false, "two-voltage": false, "joined-pole": true} {
		got := book.Look("x", v.Env(), quantity.Ohm, method)
		assert.Equal(t, faults, got.Problems.Errors(), method)
		if faults {
			assert.Equal(t, "set.yaml:5:3: a wants x by the method two-voltage; a reading by joined-pole does not count; give limit x to a step with method: two-voltage", got.Problems[0].Error())
		}
	}
}

func TestMissingValues(t *testing.T) {
	v := carOf(t, twoSets)
	book := bookOf(t, v, setOf(t, set("a", "at_least: 500 Ω/V * system.max_voltage")), setOf(t, set("b", "at_least: 1 kΩ")))
	got := book.Look("x", v.Env(), quantity.Ohm, "")
	assert.Empty(t, got.Problems.String())
	require.Len(t, got.Missing, 1)
	assert.Equal(t, "set.yaml:5:17: limit x of a has no value: packs.*.max_voltage is missing: vehicle.yaml has no packs", got.Missing[0].Error())
	require.Len(t, got.Bounds, 1, "the limit that has a value is shown")

	_, problems := book.Apply("x", v.Env(), quantity.Ohm, "")
	assert.True(t, problems.Errors(), "Apply must not pass over a limit without a value")

	all := book.All()
	require.Len(t, all, 2)
	assert.False(t, all[0].HasValue())
	assert.Contains(t, all[0].Missing, "vehicle.yaml has no packs")
	assert.Equal(t, "500 Ω/V * system.max_voltage", all[0].Formula)
	assert.True(t, all[1].Governs)
}

func TestMissingStimulusIsMissing(t *testing.T) {
	v := carOf(t, "format: 1\nname: X\nassessed_to: [a]\n")
	book := bookOf(t, v, setOf(t, set("a", "at_least: 1 kΩ, test_voltage_at_least: system.max_voltage / 2")))
	got := book.Look("x", v.Env(), quantity.Ohm, "")
	assert.Empty(t, got.Bounds)
	assert.Len(t, got.Missing, 1)
}

func TestAppliesIf(t *testing.T) {
	for condition, applies := range map[string]bool{
		"has(pyro)": false, "extra.i > 2 A": false, "extra.i > 0 A": true,
		"extra.i > 1 A": true, // undecided over the tolerance counts as met
	} {
		v := carOf(t, twoSets)
		book := bookOf(t, v, setOf(t, set("a", "at_most: 1 Ω, applies_if: '"+condition+"'")), setOf(t, set("b", "at_most: 2 Ω")))
		bounds, problems := book.Apply("x", v.Env(), quantity.Ohm, "")
		require.Empty(t, problems.String(), condition)
		assert.Equal(t, applies, len(bounds) == 2, condition)
		assert.Equal(t, applies, book.All()[0].HasValue(), condition)
		if !applies {
			assert.Equal(t, condition+" is false", book.All()[0].NotApplicable)
			assert.Equal(t, "b", governs(bounds))
		}
	}
}

func TestLoopVariables(t *testing.T) {
	v := carOf(t, `format: 1
name: X
assessed_to: [a]
packs: {p: {}}
fuses: {p: {breaking_capacity: 20 kA}}
contactors: {k: {breaking_capacity: 1 kA, pull_in: 9 V}, l: {breaking_capacity: 2 kA}}
shutdown: {key: {}}
`)
	listed := func(limit string) string {
		var out []string
		for _, l := range bookOf(t, v, setOf(t, set("a", limit))).All() {
			out = append(out, strings.TrimSpace(l.Item+" "+l.Bound.String()+" "+l.NotApplicable+l.Missing))
		}
		return strings.Join(out, " | ")
	}
	assert.Equal(t, "fuses.p at most 20 kA", listed("at_most: fuse.breaking_capacity"))
	assert.Equal(t, "contactors.k at most 1 kA | contactors.l at most 2 kA", listed("at_most: contactor.breaking_capacity"))
	assert.Equal(t, "contactors.k at most 1 kA | contactors.l at most 2 kA | fuses.p at most 20 kA", listed("at_most: thing.breaking_capacity"))
	assert.Contains(t, listed("at_most: contactor.pull_in"), "contactors.k at most 9 V | contactors.l")
	assert.Contains(t, listed("at_most: contactor.pull_in"), "contactors.l.pull_in is missing")
	assert.Contains(t, listed("'between': joint.torque"), "the car has no joints")
}

func TestInline(t *testing.T) {
	v := carOf(t, twoSets)
	f := fileOf(t, "at_least: extra.r\nat_most: [1 Ω, 2 Ω]\nbetween: [1 Ω, 2 V]\nexpected: {a: 1}\n")
	node := func(key string) []diag.Problem {
		n, ok := f.Root.Get(key)
		require.True(t, ok)
		kind, ok := quantity.ParseBoundKind(key)
		require.True(t, ok)
		exprs, problems := rules.Formulas(f, kind, n)
		if problems.Errors() {
			return problems
		}
		got := rules.Inline(f, kind, exprs, v.Env(), formula.Want{Any: true})
		if key == "at_least" {
			require.Len(t, got.Bounds, 1)
			assert.Equal(t, quantity.Bound{Kind: quantity.AtLeast, Low: 11, Dim: quantity.Ohm}, got.Bounds[0].Bound)
			assert.True(t, got.Bounds[0].Governs)
		}
		return got.Problems
	}
	assert.Empty(t, node("at_least"))
	assert.Equal(t, "at_most takes one formula", node("at_most")[0].Message)
	assert.Equal(t, "between of Ω and V", node("between")[0].Message)
	assert.Equal(t, "expected has no formula", node("expected")[0].Message)
}
