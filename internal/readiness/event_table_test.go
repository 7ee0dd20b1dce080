package readiness

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// Which incident of a live run is which event, row by row; the codes are those
// of package feature.
func TestEventOf(t *testing.T) {
	car := []string{"packs.left", "contactors.left_plus", "contactors.left_minus", "dc_link"}
	both := car[1:3]
	p := &plan.Plan{Live: true, Steps: []plan.Step{
		{Path: "closing", Kind: plan.Capture, Function: "precharge", Parts: []string{"contactors.left_plus", "dc_link"}},
		{Path: "alone", Kind: plan.Capture, Function: "precharge", Parts: []string{"precharge", "dc_link"}},
		{Path: "curve", Kind: plan.Capture, Function: "discharge", Parts: []string{"dc_link"}},
	}}
	m := run.New("x-1", run.Start{Plan: p})
	unplugged := map[string]string{"main_coil": "unplugged"}
	for _, row := range []struct {
		kind, path, decision string
		state                map[string]string
		event                string
		parts                []string
	}{
		{run.FailedAttempt, "closing", run.Fail, nil, prechargeFailed, both[:1]},
		{run.FailedAttempt, "closing", run.ConditionalFail, nil, prechargeFailed, both[:1]},
		{run.FailedAttempt, "closing", run.CannotDecide, nil, "", nil}, // the scope saw nothing
		{run.FailedAttempt, "alone", run.Fail, unplugged, "", nil},     // no main contact
		{run.FailedAttempt, "curve", run.Fail, nil, "", nil},           // fails its own proof
		{"closed-early", "closing", run.Fail, nil, closingHigh, both[:1]},
		{"never-precharged", "closing", run.Fail, nil, closingHigh, both[:1]},
		{"contactor-bounce", "closing", run.Fail, nil, closingHigh, both[:1]},
		{"already-live", "closing", run.Fail, nil, closingHigh, both[:1]},
		{"closed-early", "alone", run.Fail, unplugged, "", nil},
		{"closed-early", "alone", run.Fail, nil, closingHigh, both}, // which one is not known: all
		{"opened-under-load", "curve", run.Fail, nil, openedUnderLoad, both},
		{"contactor-stuck", "closing", run.Fail, nil, contactStuck, both[:1]},
		{"resistor-differs", "closing", run.Fail, nil, "", nil},
	} {
		i := run.Incident{Kind: row.kind, Path: row.path, Decision: row.decision, State: row.state}
		if s, ok := p.Step(row.path); ok {
			i.Parts = p.Steps[s].Parts
		}
		event, parts := eventOf(m, i, car)
		assert.Equal(t, row.event, event, "%s at %s", row.kind, row.path)
		assert.Equal(t, row.parts, parts, "%s at %s", row.kind, row.path)
	}
}
