package plan

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// small is a plan that uses every field once.
func small() *Plan {
	inputs := []Input{{Name: "system.max_voltage", Lo: 403.2, Hi: 403.2, Dim: quantity.Volt}}
	return &Plan{
		Car: "Sandpiper", Procedure: "isolation_whole", Title: "Isolation of the whole", Stage: "C",
		Purpose: "A second fault must not find a first one.", Live: true, Practice: true,
		Proves:        []Proof{{ID: "isolation_whole", Parts: []string{"whole"}, HoldsDays: 30}},
		Prerequisites: []string{"isolation_parts"}, People: 2,
		Protective: []Text{{"gloves", "Gloves, class 0, tested."}},
		Cautions:   []Text{{"hv_live", "High voltage is on."}},
		MakeSafe:   []string{"Press the emergency-off.", "Open the service disconnect."},
		Ambient:    true, CarVoltage: 403.2,
		Files: []File{{"procedures/isolation_whole.yaml", Shipped, strings.Repeat("0a", 32)}},
		Steps: []Step{
			{
				Path: "vb", Kind: Measure, Text: "Pole to pole.", Source: "UN R100", Parts: []string{"whole"},
				Cautions: []Text{{"hv_live", "High voltage is on."}},
				State:    []State{{"packs", "in"}, {"contactors.left_plus", "closed"}},
				Witness:  true, IfFailed: MakeSafeStop, Dim: quantity.Volt, Role: "voltmeter",
				Method: "two-voltage", Stimulus: "the pack's own voltage",
				TestRange: TestRange{MinTestVoltage: 100}, UnfitMeter: RefuseMeter,
			},
			{Path: "leads", Kind: Measure, Text: "Leads on the known resistor.", IfFailed: Stop,
				Dim: quantity.Ohm, Role: "voltmeter", UnfitMeter: MarkMeter, LeadCheck: Before},
			{Path: "pole", Kind: Observe, Text: "Which pole is higher?", IfFailed: Stop, Choices: []string{"negative", "positive"}},
			{Path: "pause", Kind: Wait, Text: "Wait.", IfFailed: Note, Seconds: 0.1},
			{Path: "go", Kind: Hold, Text: "Released?", IfFailed: Stop, Hold: "releaser"},
			{Path: "pyro", Kind: Confirm, Text: "Clip on.", IfFailed: Stop, NotApplicable: "has(pyro) = false"},
			{
				Path: "isolation", Kind: Compute, Text: "The weaker pole.", Purpose: "A number.\nAnd more.", IfFailed: Stop,
				ConditionalPass: true, Dim: quantity.Ohm, Function: "isolation_two_voltage",
				From: []Arg{
					{Name: "vb", Step: "vb"},
					{Name: "r0_at", Text: "negative"},
					{Name: "r0", Lo: 198000, Nominal: 200000, Hi: 202000, Dim: quantity.Ohm,
						Formula: "200 kΩ ±1%", Substituted: "200 kΩ ±1%", Exactness: "exact", Inputs: inputs},
				},
				Bounds: []Bound{
					{
						ID: "isolation_whole", Bound: quantity.Bound{Kind: quantity.AtLeast, Low: 201600, Dim: quantity.Ohm},
						Formula: "500 Ω/V * system.max_voltage", Substituted: "500 Ω/V × 403.2 V", Exactness: "exact", Inputs: inputs,
						Rules: "un-r100", Source: "clause", Method: "two-voltage", Stimulus: "at least 100 V",
						TestRange: TestRange{MinTestVoltage: 100, MinTestCurrent: 0.001, MaxTestCurrent: 0.01},
						Rule:      measure.GuardBand, Governs: true,
					},
					{ID: "isolation", Bound: quantity.Bound{Kind: quantity.Expected, Low: 0, High: 61e6, Dim: quantity.Ohm}, Rule: measure.SimpleAcceptance},
				},
			},
			{Path: "off", Kind: Confirm, Text: "Car made safe.", IfFailed: Stop, Expect: "done", Choices: []string{"not done", "done"}},
		},
		SignOut: 7,
	}
}

func TestMarshalGolden(t *testing.T) {
	got, err := Marshal(small())
	require.NoError(t, err)
	want, err := os.ReadFile("testdata/small.txt")
	require.NoError(t, err)
	require.NotEmpty(t, want)
	assert.Equal(t, string(want), string(got))
	back, err := Parse(got)
	require.NoError(t, err)
	assert.Equal(t, small(), back)
}

// Whatever a person or a disk changes in the text, it must not read as a plan
// that prints differently.
func TestParseEveryByteChanged(t *testing.T) {
	text, err := Marshal(small())
	require.NoError(t, err)
	refused := 0
	for i := range text {
		for _, c := range []byte{text[i] ^ 1, ' ', '\n', 0xff} {
			changed := append([]byte(nil), text...)
			changed[i] = c
			p, err := Parse(changed)
			if err != nil {
				refused++
				continue
			}
			again, err := Marshal(p)
			require.NoError(t, err)
			require.Equal(t, string(changed), string(again), "byte %d", i)
		}
	}
	assert.Greater(t, refused, len(text))
	for i := range text {
		_, err := Parse(text[:i])
		require.Error(t, err, "cut after %d bytes", i)
	}
}

func TestParseRefuses(t *testing.T) {
	text, err := Marshal(small())
	require.NoError(t, err)
	for _, c := range []struct{ name, from, to, want string }{
		{"version", "hvproof plan 1\n", "hvproof plan 2\n", `plan: line 1: "hvproof plan 2" found, "hvproof plan 1" wanted`},
		{"order", "stage: C\npurpose", "purpose", `plan: line 5: "purpose" found, "stage" wanted`},
		{"unknown line", "people: 2\n", "colour: red\npeople: 2\n", `"colour" found, "people" wanted`},
		{"twice", "people: 2\n", "people: 2\npeople: 2\n", `"people" found, "sign out" wanted`},
		{"zero written out", "car voltage: 403.2\n", "car voltage: 0\n", "not as a plan is printed"},
		{"no written out", "live: yes\n", "live: no\n", "line 7: not as a plan is printed"},
		{"leading zero", "people: 2\n", "people: 02\n", "line 12: not as a plan is printed"},
		{"exponent", "low: 201600\n", "low: 2.016e5\n", `"2.016e5" is not a number`},
		{"dimension order", "kg.m2.s-3.A-2\nformula", "m2.kg.s-3.A-2\nformula", "not as a plan is printed"},
		{"dimension", "kg.m2.s-3.A-2\nformula", "ohm\nformula", `"ohm" is not a dimension`},
		{"kind", "kind: hold\n", "kind: pray\n", `step go: kind: "pray"`},
		{"rule", "rule: guard_band\n", "rule: hope\n", `"hope" is not a decision rule`},
		{"escape", `A number.\nAnd`, `A number.\x0aAnd`, "is not an escape"},
		{"after the end", "end\n", "end\nend\n", "after the end"},
		{"no line feed", "end\n", "end", "does not end in a line feed"},
		{"carriage returns", "people: 2\n", "people: 2\r\n", "is not a count"},
		{"same path", "step: leads\n", "step: vb\n", "step vb: twice in the plan"},
		{"later step", "argument: vb step vb", "argument: vb step off", `"off" is not an earlier step`},
		{"sign out beyond", "sign out: 7\n", "sign out: 9\n", "sign out at step 9 of 8"},
		{"bound of another dimension", "bound: at_least isolation_whole\nlow: 201600\ndimension: kg.m2.s-3.A-2", "bound: at_least isolation_whole\nlow: 201600\ndimension: kg.m2.s-3.A-1", "the step is in kg.m2.s-3.A-2"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, string(text), c.from)
			_, err := Parse([]byte(strings.Replace(string(text), c.from, c.to, 1)))
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
	_, err = Parse(make([]byte, MaxSize+1))
	assert.ErrorContains(t, err, "more than the")
}

func TestCheckRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*Plan)
		want   string
	}{
		{"stage", func(p *Plan) { p.Stage = "F" }, `plan: stage: "F"`},
		{"nobody", func(p *Plan) { p.People = 0 }, "people: 0"},
		{"no part", func(p *Plan) { p.Proves[0].Parts = nil }, "proof isolation_whole: no part"},
		{"steps of a plan that does not apply", func(p *Plan) { p.NotApplicable = "x" }, "not applicable, yet with steps"},
		{"origin", func(p *Plan) { p.Files[0].Origin = "found" }, `"found"`},
		{"digest", func(p *Plan) { p.Files[0].Digest = "0A" + p.Files[0].Digest[2:] }, "is not a SHA-256"},
		{"nan", func(p *Plan) { p.Steps[6].Bounds[0].Low = nan() }, "NaN cannot be written"},
		{"minus zero", func(p *Plan) { p.Steps[6].Bounds[1].Low = -1 / inf() }, "-0 cannot be written"},
		{"both ends of a one-sided bound", func(p *Plan) { p.Steps[6].Bounds[0].High = 1 }, "an end that the kind has no use for"},
		{"empty between", func(p *Plan) { p.Steps[6].Bounds[1].High = -1 }, "nothing lies between"},
		{"bound on a confirm", func(p *Plan) { p.Steps[7].Bounds = p.Steps[6].Bounds }, "gives no number"},
		{"expected is no choice", func(p *Plan) { p.Steps[7].Expect = "yes" }, `"yes" is none of the choices`},
		{"nothing expected", func(p *Plan) { p.Steps[7].Expect = "" }, "none of the choices"},
		{"observe that asks nothing", func(p *Plan) { p.Steps[2].Choices = nil }, "neither an expected answer"},
		{"no meter", func(p *Plan) { p.Steps[0].Role = "" }, "no instrument role"},
		{"unfit meter", func(p *Plan) { p.Steps[0].UnfitMeter = "" }, "unfit meter"},
		{"no wait", func(p *Plan) { p.Steps[3].Seconds = 0 }, "no duration"},
		{"nobody releases", func(p *Plan) { p.Steps[4].Hold = "" }, "no role"},
		{"space in a path", func(p *Plan) { p.Steps[0].Path = "v b" }, "has a space"},
		{"not UTF-8", func(p *Plan) { p.Steps[0].Text = "\xff" }, "is not UTF-8"},
		{"step and word", func(p *Plan) { p.Steps[6].From[0].Text = "x" }, "a step and a word at once"},
		{"value in disorder", func(p *Plan) { p.Steps[6].From[2].Nominal = 1 }, "not in order"},
		{"argument of a step without a value", func(p *Plan) { p.Steps[6].From[0].Step = "pause" }, "is not an earlier step"},
		{"too many", func(p *Plan) { p.Steps = make([]Step, MaxSteps+1) }, "5001 steps"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := small()
			c.change(p)
			_, err := Marshal(p)
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
}

func TestLimitsAndWindows(t *testing.T) {
	p := small()
	i, ok := p.Step("isolation")
	require.True(t, ok)
	assert.Len(t, p.Steps[i].Limits(), 1)
	assert.Len(t, p.Steps[i].Windows(), 1)
	p.Steps[i].Bounds[0].Governs = false
	assert.Empty(t, p.Steps[i].Limits())
	_, ok = p.Step("nowhere")
	assert.False(t, ok)
}

func TestDimension(t *testing.T) {
	for _, c := range []struct {
		dim  quantity.Dim
		want string
	}{
		{quantity.One, "1"}, {quantity.Volt, "kg.m2.s-3.A-1"}, {quantity.Second, "s"},
		{quantity.NewtonMetre, dimension(quantity.NewtonMetre)}, {quantity.Kelvin, "K"},
	} {
		assert.Equal(t, c.want, dimension(c.dim))
	}
	assert.NotEqual(t, dimension(quantity.Joule), dimension(quantity.NewtonMetre))
	for _, bad := range []string{"", "V", "kg.", "m2.m", "m128", "2", "1.kg", "kg 2"} {
		d, err := parseDimension(bad)
		assert.True(t, err != nil || dimension(d) != bad, bad)
	}
	rapid.Check(t, func(t *rapid.T) {
		want := drawDim(t)
		got, err := parseDimension(dimension(want))
		require.NoError(t, err)
		assert.Equal(t, want, got)
	})
}
