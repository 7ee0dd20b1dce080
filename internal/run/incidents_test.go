package run

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
)

// liveCapture is a pre-charge with voltage, contactors said to be open.
func liveCapture(rehearsal bool) Start {
	s := captureStart()
	s.Plan.Live, s.Rehearsal = true, rehearsal
	s.Plan.Steps[0].Parts = []string{"precharge", "contactors.left_plus"}
	s.Plan.Steps[0].State = []plan.State{{Name: "contactors", Value: "open"}}
	return s
}

func TestIncidents(t *testing.T) {
	kinds := func(m *Machine) []string {
		var out []string
		for _, i := range m.Incidents() {
			out = append(out, i.Kind)
			assert.Equal(t, "ramp", i.Path)
			assert.Equal(t, []string{"precharge", "contactors.left_plus"}, i.Parts)
			assert.Equal(t, map[string]string{"contactors": "open"}, i.State)
			assert.NotEmpty(t, i.Text)
			assert.Equal(t, m.Events()[len(m.Events())-1].Index, i.Event.Index)
		}
		return out
	}
	// Closed onto a link that is at 76 %: the attempt, and what it found.
	b := newBench(t, liveCapture(false))
	b.ok("ramp:state", "contactors: open")
	require.NoError(t, b.give("ramp", Answer{Text: "a.csv", File: ramp(0.0709, 0.1)}))
	require.Equal(t, []string{FailedAttempt, "closed-early"}, kinds(b.m))
	assert.Equal(t, Fail, b.m.Incidents()[0].Decision)

	// Nobody saw it close: the attempt is not accepted, and nothing is found.
	b = newBench(t, liveCapture(false))
	b.ok("ramp:state", "contactors: open")
	require.NoError(t, b.give("ramp", Answer{Text: "a.csv", File: ramp(0.0709, 9)}))
	require.Equal(t, []string{FailedAttempt}, kinds(b.m)[:1])
	assert.Equal(t, CannotDecide, b.m.Incidents()[0].Decision)

	// A healthy one, and a rehearsal, touch nothing.
	b = newBench(t, liveCapture(false))
	b.ok("ramp:state", "contactors: open")
	require.NoError(t, b.give("ramp", Answer{Text: "a.csv", File: ramp(0.0709, 0.25)}))
	assert.Empty(t, b.m.Incidents())
	b = newBench(t, liveCapture(true))
	b.ok("ramp:state", "contactors: open")
	require.NoError(t, b.give("ramp", Answer{Text: "a.csv", File: ramp(0.0709, 0.1)}))
	assert.Empty(t, b.m.Incidents())

	// Stop, and make safe.
	b = newBench(t, liveCapture(false))
	b.ok("ramp:state", "contactors: open")
	require.NoError(t, b.give("ramp", Answer{MakeSafe: true, Reason: "a noise"}))
	require.Equal(t, []string{ForcedStop}, kinds(b.m))

	// Packs unplugged, nothing is live.
	dead := liveCapture(false)
	dead.Plan.Live = false
	b = newBench(t, dead)
	b.ok("ramp:state", "contactors: open")
	require.NoError(t, b.give("ramp", Answer{MakeSafe: true}))
	assert.Empty(t, b.m.Incidents())
}
