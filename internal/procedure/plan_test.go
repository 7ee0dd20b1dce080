package procedure

import (
	"flag"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

var update = flag.Bool("update", false, "write the golden files")

func goodPlan(t *testing.T) *plan.Plan {
	fx := load(t, read(t, "car.yaml"))
	l := fx.library(t, parse(t, string(read(t, "good.yaml"))))
	files := []plan.File{{Name: "procedures/good.yaml", Origin: plan.Own, Digest: strings.Repeat("ab", 32)}}
	p, problems := l.Plan("good", fx.car, fx.book, files, true)
	require.NotNil(t, p, "%s", problems)
	return p
}

func TestPlanGolden(t *testing.T) {
	got, err := plan.Marshal(goodPlan(t))
	require.NoError(t, err)
	if *update {
		require.NoError(t, os.WriteFile("testdata/good_plan.txt", got, 0o644))
	}
	assert.Equal(t, string(read(t, "good_plan.txt")), string(got))
	back, err := plan.Parse(got)
	require.NoError(t, err)
	assert.Equal(t, goodPlan(t), back)
}

func stepAt(t *testing.T, p *plan.Plan, path string) *plan.Step {
	i, ok := p.Step(path)
	require.True(t, ok, path)
	return &p.Steps[i]
}

func TestPlan(t *testing.T) {
	p := goodPlan(t)
	assert.InDelta(t, 403.2, p.CarVoltage, 1e-9) // 96 × 4.20 V
	assert.True(t, p.Practice)
	assert.Equal(t, []string{"whole", "contactors.left_plus", "contactors.left_minus", "dc_link"}, p.Proves[0].Parts)
	assert.Equal(t, []string{"dc_link", "contactors.left_plus", "shutdown.cabin", "contactors.left_minus", "shutdown.outside", "whole"}, p.Proves[1].Parts)
	assert.Equal(t, "safe", p.Steps[p.SignOut].Path)

	opens := stepAt(t, p, "cabin.left_plus.opens")
	assert.Equal(t, "Press cabin; left_plus is", opens.Text)
	assert.Equal(t, []string{"closed", "open"}, opens.Choices, "the wanted answer does not stand first")
	assert.Equal(t, []string{"contactors.left_plus", "shutdown.cabin"}, opens.Parts)
	assert.Equal(t, []plan.State{{Name: "packs", Value: "in"}, {Name: "drive", Value: "disabled"}, {Name: "contactors.left_plus", Value: "closed"}}, opens.State)
	assert.Equal(t, plan.MakeSafeStop, opens.IfFailed)
	assert.Contains(t, stepAt(t, p, "outside.left_minus.opens").NotApplicable, "device.opens.contactor")
	assert.Contains(t, stepAt(t, p, "pyro").NotApplicable, "has(pyro) = false")
	assert.Equal(t, []plan.State{{Name: "packs", Value: "out"}, {Name: "drive", Value: "disabled"}}, stepAt(t, p, "dead.poles").State)
	assert.Equal(t, []string{"dc_link"}, stepAt(t, p, "dead.poles").Parts)
	assert.Equal(t, "probes", stepAt(t, p, "dead.poles").Cautions[0].ID)
	assert.Equal(t, []string{"not done", "done"}, stepAt(t, p, "safe").Choices)

	vb := stepAt(t, p, "vb")
	assert.Equal(t, plan.MarkMeter, vb.UnfitMeter)
	assert.InDelta(t, 201.6, vb.MinTestVoltage, 1e-9)
	require.Len(t, vb.Windows(), 1)
	assert.InDelta(t, 96*3.00, vb.Windows()[0].Low, 1e-9)
	assert.InDelta(t, 96*4.20, vb.Windows()[0].High, 1e-9)

	// 500 Ω/V × 403.2 V = 201.6 kΩ (figures of the demo car, 7A).
	iso := stepAt(t, p, "isolation")
	assert.Equal(t, TwoVoltage, iso.Method)
	require.Len(t, iso.Limits(), 1)
	assert.InDelta(t, 201600, iso.Limits()[0].Low, 1e-6)
	assert.Equal(t, "book", iso.Limits()[0].Rules)
	assert.Equal(t, plan.Arg{Name: "vb", Step: "vb"}, iso.From[0])
	assert.Equal(t, plan.Arg{Name: "r0_at", Step: "pole"}, iso.From[5])
	assert.InDelta(t, 200e3, iso.From[4].Lo, 1e-9)

	// tau = 68 Ω ±5 % × 1.02 mF ±10 %, both corners in the plan.
	tau := stepAt(t, p, "tau").From[0]
	assert.InDelta(t, 68*0.95*1.02e-3*0.9, tau.Lo, 1e-9)
	assert.InDelta(t, 68*1.05*1.02e-3*1.1, tau.Hi, 1e-9)
	assert.InDelta(t, 5*68*1.05*1.02e-3*1.1, stepAt(t, p, "settle").Seconds, 1e-9)
	assert.Equal(t, quantity.One, stepAt(t, p, "share").Dim)
}

func TestNotApplicableProcedure(t *testing.T) {
	fx := load(t, read(t, "car.yaml"))
	l := fx.library(t, parse(t, `
format: 1
procedure: pyro
title: Pyro circuit
stage: A
applies_if: has(pyro)
proves: {pyro: [pyro]}
steps:
  - {id: bridge, measure: Bridge., unit: Ω, with: squib_meter, limit: pyro_bridge}
`))
	p, problems := l.Plan("pyro", fx.car, fx.book, nil, false)
	require.NotNil(t, p, "%s", problems)
	assert.Equal(t, "has(pyro) = false", p.NotApplicable)
	assert.Empty(t, p.Steps)
	assert.Equal(t, []plan.Proof{{ID: "pyro", Parts: []string{"pyro"}}}, p.Proves)
	assert.Empty(t, l.Check(fx.car, fx.book))
	_, err := plan.Marshal(p)
	assert.NoError(t, err)
}

// A value that the car's file does not give keeps its own procedure from
// being planned and is a warning of the whole check; a part that is not there
// is a fault once the file describes packs.
func TestLacking(t *testing.T) {
	full := string(read(t, "car.yaml"))
	without := strings.Replace(full, "dc_link: {capacitance: 1.02 mF ±10%}\n", "", 1)
	require.NotEqual(t, full, without)
	fx := load(t, []byte(without))
	l := fx.library(t, parse(t, `
format: 1
procedure: tau
title: Tau
stage: A
steps:
  - {id: tau, compute: value, from: {value: precharge.resistance * dc_link.capacitance}, unit: s, at_most: 100 ms}
`))
	p, problems := l.Plan("tau", fx.car, fx.book, nil, false)
	assert.Nil(t, p)
	require.Len(t, problems, 1)
	assert.Equal(t, "dc_link.capacitance is missing", problems[0].Message)
	assert.Contains(t, problems[0].Hint, "vehicle.yaml")
	problems = l.Check(fx.car, fx.book)
	require.Len(t, problems, 1)
	assert.False(t, problems.Errors())

	empty := load(t, []byte("format: 1\nname: Bare\nassessed_to: [book]\n"))
	l = empty.library(t, parse(t, `
format: 1
procedure: matrix
title: Matrix
stage: A
proves: {matrix: ["contactors.*", dc_link]}
steps:
  - for_every: shutdown
    called: device
    steps: [{id: opens, observe: "{device} pressed, all contactors", expect: open}]
  - {id: v, measure: Pole to pole., unit: V, with: voltmeter, at_most: system.max_voltage, part: dc_link}
`))
	p, problems = l.Plan("matrix", empty.car, empty.book, nil, false)
	assert.Nil(t, p)
	assert.True(t, problems.Errors())
	problems = l.Check(empty.car, empty.book)
	require.Len(t, problems, 5)
	assert.False(t, problems.Errors(), "%s", problems)
	_, problems = l.Plan("matrx", empty.car, empty.book, nil, false)
	require.Len(t, problems, 1)
	assert.Equal(t, "did you mean matrix?", problems[0].Hint)
}
