package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/readiness"
)

// with gives a requirement whose reading rests on a value of the car.
func with(r readiness.Requirement, path, value string, lo, hi float64) readiness.Requirement {
	p := *r.Today
	p.Steps = append([]plan.Step{}, p.Steps...)
	i, _ := p.Step(path)
	p.Steps[i].Bounds = append([]plan.Bound{}, p.Steps[i].Bounds...)
	in := p.Steps[i].Bounds[0].Inputs[0]
	in.Name, in.Lo, in.Hi = value, lo, hi
	p.Steps[i].Bounds[0].Inputs = []plan.Input{in}
	r.Today = &p
	return r
}

// A value of the car that another procedure's run has recorded as another one
// since makes a proof void that rests on it, though the file is as it was then:
// it was changed, and changed back. Either end of its tolerance counts.
func TestChangedAndChangedBack(t *testing.T) {
	for name, end := range map[string][2]float64{"lower end": {90, 100}, "upper end": {100, 110}, "both": {90, 110}} {
		w, all := newWorld(t), wren.requirements()
		before := []readiness.Requirement{with(all[3], "ramp", "dc_link.capacitance", 100, 100), with(all[4], "whole", "dc_link.capacitance", 100, 100)}
		for _, r := range before {
			w.run(r.Today, nil, nil)
		}
		require.Empty(t, owed(w.proofs(before)), name)
		w.run(with(all[4], "whole", "dc_link.capacitance", end[0], end[1]).Today, nil, nil)
		after := w.run(before[1].Today, nil, nil)
		p := w.state(before, "precharge")
		assert.Equal(t, readiness.Void, p.State, name)
		assert.Contains(t, p.Reason, "dc_link.capacitance was 100 Ω when it was tested, and ", name)
		assert.NotContains(t, p.Reason, "and 100 Ω in run", "%s: the run that had another value is named", name)
		assert.Equal(t, readiness.Holds, w.state(before, "isolation_whole").State, "%s: tested since, in run %s", name, after.ID())
		w.run(before[0].Today, nil, nil)
		assert.Empty(t, owed(w.proofs(before)), name)
	}
}

// A computed step is void where one of what it rests on is another value now,
// or comes from elsewhere; the others beside it change nothing.
func TestChangedArgument(t *testing.T) {
	w := newWorld(t)
	w.insulation()
	whole := isolationPlan("isolation_whole", twoVoltage("whole", "whole"))
	req := func(change func(*plan.Step)) []readiness.Requirement {
		p := *whole
		p.Steps = append([]plan.Step{}, whole.Steps...)
		s := &p.Steps[4]
		s.From = append([]plan.Arg{}, s.From...)
		change(s)
		return []readiness.Requirement{{Proof: "isolation_whole", Procedure: "isolation_whole", Stage: "C", Required: true, Today: &p}}
	}
	w.run(whole, nil, tight)
	state := func(change func(*plan.Step)) readiness.Proof { return w.state(req(change), "isolation_whole") }
	assert.Equal(t, readiness.Holds, state(func(*plan.Step) {}).State)
	p := state(func(s *plan.Step) { s.From[5].Hi = 210e3 })
	assert.Equal(t, readiness.Void, p.State)
	assert.Contains(t, p.Reason, "r0 is another value now")
	p = state(func(s *plan.Step) { s.From[0].Step = "whole.v1" })
	assert.Equal(t, readiness.Void, p.State)
	assert.Contains(t, p.Reason, "vb comes from elsewhere now")
	p = state(func(s *plan.Step) { s.From[4].Text = "positive" })
	assert.Contains(t, p.Reason, "r0_at comes from elsewhere now")
	p = state(func(s *plan.Step) { s.From[0].Name = "v_b" })
	assert.Contains(t, p.Reason, "v_b comes from elsewhere now")
}
