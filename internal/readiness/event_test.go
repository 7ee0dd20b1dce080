package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
	"hvproof/internal/run"
)

// shop lets the shipped rework file decide about events of a car.
func (w *world) shop(c car, reqs []readiness.Requirement) {
	var proofs []rework.Proof
	for _, r := range reqs {
		proofs = append(proofs, rework.Proof{ID: r.Proof, Parts: r.Parts()})
	}
	w.log.Shop = &readiness.Shop{Parts: c.Parts(), Effects: func(work string, parts []string) []rework.Effect {
		return book(w.t).Effects(c, work, parts, proofs)
	}}
}

// live makes a plan live, its steps done with the states.
func live(p *plan.Plan, states ...plan.State) *plan.Plan {
	out := *p
	out.Live, out.MakeSafe = true, []string{"Press the button."}
	out.Steps = append([]plan.Step{}, p.Steps...)
	for i := range out.Steps[:out.SignOut] {
		out.Steps[i].State = states
	}
	return &out
}

// stop begins a run, says the state, answers some steps, and makes safe.
func (w *world) stop(p *plan.Plan, answers int) *run.Machine {
	m := w.begin(p)
	for range answers {
		q := m.Next()
		a := run.Answer{At: w.now, Text: "yes", Confirm: true}
		if q.Kind == run.AskState {
			a.Text = ""
			for _, st := range q.State {
				a.Text += st.Name + ": " + st.Value + ", "
			}
			a.Text = a.Text[:len(a.Text)-2]
		}
		bodies, err := m.Answer(q, a)
		if err != nil {
			w.t.Fatalf("%s: %v", q.Key, err)
		}
		w.add(bodies[0], q.Person)
	}
	bodies, err := m.Answer(m.Next(), run.Answer{At: w.now, MakeSafe: true, Reason: "smoke"})
	if err != nil {
		w.t.Fatalf("%v", err)
	}
	w.add(bodies[0], "mills")
	return m
}

// A live run that was stopped with voltage on may have opened its contactors
// under load: nobody records that, and the function of all of them is to be
// tested again. Stopped with the packs out, or before they were in, nothing was
// touched.
func TestStoppedLiveVoids(t *testing.T) {
	in, out := plan.State{Name: "packs", Value: "in"}, plan.State{Name: "packs", Value: "out"}
	for name, test := range map[string]struct {
		states  []plan.State
		answers int
		voids   bool
	}{
		"packs in":             {[]plan.State{in}, 1, true},
		"nothing is said":      {nil, 1, true},
		"packs out":            {[]plan.State{out}, 1, false},
		"before packs are in":  {[]plan.State{in}, 0, false},
		"main coil unplugged":  {[]plan.State{in, {Name: "main_coil", Value: "unplugged"}}, 1, false},
		"contactors were open": {[]plan.State{in, {Name: "contactors", Value: "commanded open"}}, 1, false},
		"contactors closed":    {[]plan.State{in, {Name: "contactors", Value: "closed"}}, 1, true},
	} {
		w, reqs := newWorld(t), wren.requirements()
		w.shop(wren, reqs)
		w.everything(reqs)
		require.Empty(t, owed(w.proofs(reqs)), name)
		m := w.stop(live(reqs[5].Today, test.states...), test.answers)
		p := w.state(reqs, "contactor_function")
		if !test.voids {
			assert.Equal(t, readiness.Holds, p.State, name)
			continue
		}
		assert.Equal(t, readiness.Void, p.State, name)
		assert.Equal(t, []string{"left_plus", "right_plus", "left_minus"}, p.Owed(), name)
		assert.Contains(t, p.Reason, "event in run "+m.ID()+", entry ", name)
		assert.Contains(t, p.Reason, "said by a person at the car (stopped_live): the contacts may have opened under load", name)
		assert.Equal(t, readiness.Holds, w.state(reqs, "shutdown_cold").State, "%s: the file says why", name)
		w.run(reqs[1].Today, nil, nil)
		assert.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State, "%s: tested since", name)
	}
}

// A rehearsal touches nothing, and without today's files nothing follows.
func TestNoEvents(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.everything(reqs)
	w.stop(live(reqs[5].Today), 1)
	assert.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State)
	assert.Empty(t, w.log.Events())
	w.shop(wren, reqs)
	assert.Len(t, w.log.Events(), 1)
}
