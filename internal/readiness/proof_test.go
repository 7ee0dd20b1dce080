package readiness_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/checklists"
	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
	"hvproof/internal/run"
	"hvproof/internal/yamlfile"
)

// book is the rework file that ships.
func book(t fataler) *rework.Book {
	bytes, err := checklists.Files.ReadFile("rework.yaml")
	if err != nil {
		t.Fatalf("%v", err)
	}
	f, faults := yamlfile.Parse("rework.yaml", bytes)
	if faults.Errors() {
		t.Fatalf("%v", faults)
	}
	b, faults := rework.Parse(f)
	if faults.Errors() {
		t.Fatalf("%v", faults)
	}
	return b
}

// everything runs all procedures of the car once.
func (w *world) everything(reqs []readiness.Requirement) {
	for _, r := range reqs {
		w.run(r.Today, nil, nil)
	}
}

// owed gives the items of the proofs that do not hold.
func owed(proofs []readiness.Proof) map[string][]string {
	out := map[string][]string{}
	for _, p := range proofs {
		if !p.OK() {
			out[p.Proof] = p.Owed()
		}
	}
	return out
}

func TestProofHoldsUntil(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	p := w.state(reqs, "isolation_pack")
	assert.Equal(t, readiness.Missing, p.State)
	assert.Equal(t, "hvproof run isolation_pack", p.Reason)
	m := w.run(reqs[2].Today, nil, nil)
	p = w.state(reqs, "isolation_pack")
	assert.Equal(t, readiness.Holds, p.State)
	assert.Equal(t, m.ID(), p.Run)
	assert.Equal(t, m.Ended().AddDate(0, 0, 50), p.Until)
	w.now = w.now.AddDate(0, 0, 50)
	assert.Equal(t, readiness.Holds, w.state(reqs, "isolation_pack").State, "on the last day")
	w.now = w.now.Add(time.Minute)
	p = w.state(reqs, "isolation_pack")
	assert.Equal(t, readiness.Lapsed, p.State)
	assert.Contains(t, p.Reason, "50 days ago")
}

// One contactor, not all: its cells of the matrices, its own value, its pack.
func TestContactorSwappedOwesOnlyItsItems(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.everything(reqs)
	require.Empty(t, owed(w.proofs(reqs)))
	w.work(book(t), wren, "contactor_swapped", []string{"contactors.left_plus"}, reqs)
	assert.Equal(t, map[string][]string{
		"shutdown_cold": {"cabin.left_plus", "outside.left_plus"}, "contactor_function": {"left_plus"}, "isolation_pack": {"left"},
		"precharge": {plan.Frame}, "isolation_whole": {plan.Frame}, "emergency_off": {"cabin.left_plus", "outside.left_plus"},
	}, owed(w.proofs(reqs)))
	p := w.state(reqs, "emergency_off")
	assert.Equal(t, readiness.Void, p.State)
	assert.Contains(t, p.Reason, "contactor_swapped: its column of the matrix")

	steps, blocked := readiness.RetestPlan(w.proofs(reqs))
	assert.Empty(t, blocked)
	var order []string
	for _, s := range steps {
		order = append(order, s.Plan.Procedure)
		assert.Empty(t, readiness.Unmet(w.log, reqs, s.Plan, w.now), s.Plan.Procedure)
		w.run(s.Plan, nil, nil)
	}
	assert.Equal(t, []string{"shutdown_cold", "contactor_function", "isolation_pack", "precharge", "isolation_whole", "emergency_off"}, order)
	assert.Equal(t, []string{"sign_in", "cabin.operated", "cabin.left_plus.opens", "outside.operated", "outside.left_plus.opens", "sign_out"}, pathsOf(steps[0].Plan))
	assert.True(t, steps[3].Whole, "a procedure without loops is run whole")
	assert.Empty(t, owed(w.proofs(reqs)))
}

func pathsOf(p *plan.Plan) (out []string) {
	for i := range p.Steps {
		out = append(out, p.Steps[i].Path)
	}
	return out
}

// What failed in a run that went on counts against its own items alone.
func TestFailedItem(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.run(reqs[0].Today, []string{"outside.left_plus.opens"}, nil)
	p := w.state(reqs, "shutdown_cold")
	assert.Equal(t, readiness.Failed, p.State)
	assert.Contains(t, p.Reason, "outside.left_plus.opens failed")
	assert.Equal(t, []string{"outside.left_plus"}, p.Owed())

	cut, err := reqs[0].Today.Restrict(p.Owed())
	require.NoError(t, err)
	w.run(cut, nil, nil)
	assert.Equal(t, readiness.Holds, w.state(reqs, "shutdown_cold").State)

	// A failure of what stands in no loop takes everything with it that the
	// run tested, and the newest counts.
	w.run(cut, []string{"sign_in"}, nil)
	p = w.state(reqs, "shutdown_cold")
	assert.Equal(t, readiness.Failed, p.State)
	assert.Equal(t, []string{plan.Frame, "outside", "outside.left_plus"}, p.Owed())
}

// A run that was never finished proves nothing, and its failed reading still
// counts against the car.
func TestUnfinishedRun(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.run(reqs[1].Today, nil, nil)
	require.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State)
	m := w.begin(reqs[1].Today)
	answer := func(wrong ...string) {
		q := m.Next()
		text := "10.000 Ω"
		if q.Step.Kind == plan.Confirm {
			text = "yes"
		}
		if len(wrong) > 0 {
			text = wrong[0]
		}
		bodies, err := m.Answer(q, run.Answer{Text: text, Confirm: true, At: w.now})
		require.NoError(t, err)
		w.add(bodies[0], q.Person)
	}
	answer()
	answer()
	assert.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State, "nothing against it yet")
	answer("500.0 Ω")
	p := w.state(reqs, "contactor_function")
	assert.Equal(t, readiness.Failed, p.State)
	assert.Equal(t, []string{"right_plus"}, p.Owed())
}

func TestChangedValue(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.everything(reqs)
	change := func(procedure string, hi float64) []readiness.Requirement {
		out := slices.Clone(reqs)
		for i := range out {
			if out[i].Procedure != procedure {
				continue
			}
			p := *out[i].Today
			p.Steps = slices.Clone(p.Steps)
			for k := range p.Steps {
				p.Steps[k].Bounds = slices.Clone(p.Steps[k].Bounds)
				for b := range p.Steps[k].Bounds {
					in := p.Steps[k].Bounds[b].Inputs[0]
					in.Hi = hi
					p.Steps[k].Bounds[b].Inputs = []plan.Input{in}
				}
			}
			out[i].Today = &p
		}
		return out
	}
	other := change("precharge", 110)
	assert.Equal(t, map[string][]string{"precharge": {plan.Frame}}, owed(w.proofs(other)), "exactly the proof whose limit used it")
	assert.Contains(t, w.state(other, "precharge").Reason, "precharge.resistance was")

	assert.Empty(t, owed(w.proofs(reqs)), "changed and changed back, and nothing recorded it in between")
	w.run(other[3].Today, nil, nil)
	w.run(other[4].Today, nil, nil)
	assert.Empty(t, owed(w.proofs(other)))
	p := w.state(reqs, "precharge")
	assert.Equal(t, readiness.Void, p.State, "changed back after a run recorded the change")

	// A work entry that names the value records it, too.
	w2 := newWorld(t)
	w2.everything(reqs)
	b := entry.Body{Kind: entry.Rework}
	b.Add("text", "another resistor, and back")
	b.AddFamily("value", "precharge.resistance")
	w2.add(b, "mills")
	assert.Equal(t, map[string][]string{"precharge": {plan.Frame}}, owed(w2.proofs(reqs)))
}

func TestStricterVoidsEasierDoesNot(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.everything(reqs)
	with := func(edit func(*plan.Step)) readiness.Proof {
		out := slices.Clone(reqs)
		p := *out[3].Today
		p.Steps = slices.Clone(p.Steps)
		p.Steps[1].Bounds = slices.Clone(p.Steps[1].Bounds)
		edit(&p.Steps[1])
		out[3].Today = &p
		return w.state(out, "precharge")
	}
	assert.Equal(t, readiness.Void, with(func(s *plan.Step) { s.Bounds[0].High = 99 }).State)
	assert.Equal(t, readiness.Holds, with(func(s *plan.Step) { s.Bounds[0].High = 101 }).State)
	assert.Equal(t, readiness.Void, with(func(s *plan.Step) { s.Witness = true }).State)
	assert.Equal(t, readiness.Void, with(func(s *plan.Step) { s.Method = "joined-pole" }).State)
	assert.Equal(t, readiness.Void, with(func(s *plan.Step) { s.MinTestCurrent = 0.2 }).State)
	assert.Equal(t, readiness.Void, with(func(s *plan.Step) { s.Bounds[0].ID = "another" }).State)
	assert.Equal(t, readiness.Holds, with(func(s *plan.Step) { s.Text = "Other words." }).State)
}

// A new item of the car, such as a bonding point, is owed alone.
func TestNewItem(t *testing.T) {
	w := newWorld(t)
	w.everything(wren.requirements())
	bigger := wren
	bigger.devices = append(slices.Clone(wren.devices), "fire")
	reqs := bigger.requirements()
	p := w.state(reqs, "shutdown_cold")
	assert.Equal(t, readiness.Missing, p.State)
	assert.Equal(t, []string{"fire", "fire.left_plus", "fire.right_plus", "fire.left_minus"}, p.Owed())
}

// The order of entries counts, not the clocks of the devices that made them.
func TestClocksDiffer(t *testing.T) {
	for _, step := range []time.Duration{-72 * time.Hour, 72 * time.Hour} {
		w, reqs := newWorld(t), wren.requirements()
		w.everything(reqs)
		w.now = w.now.Add(step)
		w.work(book(t), wren, "crash", nil, reqs)
		for _, p := range w.proofs(reqs) {
			assert.Equal(t, readiness.Void, p.State, "%s, clock moved by %s", p.Proof, step)
		}
		w.now = w.now.Add(-2 * step)
		w.everything(reqs)
		assert.Empty(t, owed(w.proofs(reqs)))
	}
}

// A clock that goes backwards does not make a lapsed proof hold.
func TestBackwardsClockStaysLapsed(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.everything(reqs)
	before := w.now
	w.now = w.now.AddDate(1, 0, 0)
	note := entry.Body{Kind: entry.Note}
	note.Add("text", "a year later")
	w.add(note, "mills")
	w.now = before
	assert.Equal(t, readiness.Lapsed, w.state(reqs, "isolation_pack").State)
}
