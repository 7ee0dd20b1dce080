package rework_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/rework"
)

// contacts is a car with two contactors in one pack.
type contacts struct{}

func (contacts) Parts() []string {
	return []string{"packs.main", "contactors.plus", "contactors.minus", "dc_link", "low_voltage", rework.Whole}
}

func (contacts) Text(string) string { return "main" }

// What an event does, row by row: the design's extra rule 6, "a blown fuse, a
// closing step above limit, a failed pre-charge, a trip under full current:
// that contactor's weld check and function" (engineering judgement). Proofs
// that list the contactor and are not named stand, with the reason.
func TestEvents(t *testing.T) {
	proofs := []rework.Proof{
		{ID: "weld_check", Parts: []string{"contactors.plus", "contactors.minus"}},
		{ID: "contactor_function", Parts: []string{"contactors.plus", "contactors.minus"}},
		{ID: "shutdown_cold", Parts: []string{"contactors.plus", "contactors.minus"}},
		{ID: "emergency_off", Parts: []string{"contactors.plus", "contactors.minus"}},
		{ID: "precharge", Parts: []string{"precharge", "contactors.plus"}},
		{ID: "first_closing", Parts: []string{"contactors.plus", "dc_link"}},
		{ID: "joints", Parts: []string{"joints.plus"}},
		{ID: "isolation_whole", Parts: []string{rework.Whole}},
		{ID: "pre_event", Parts: []string{rework.Whole}},
	}
	for _, row := range []struct {
		event string
		void  []string
		stand bool // what else lists the contactor stands
	}{
		{"closing_step_high", []string{"weld_check", "contactor_function", "pre_event"}, true},
		{"precharge_failed", []string{"weld_check", "contactor_function", "precharge", "pre_event"}, true},
		{"opened_under_load", []string{"weld_check", "contactor_function", "pre_event"}, true},
		{"stopped_live", []string{"weld_check", "contactor_function", "pre_event"}, true},
		{"contact_stuck", []string{"weld_check", "contactor_function", "shutdown_cold", "emergency_off", "pre_event"}, true},
		{"fuse_blown", []string{"weld_check", "contactor_function", "isolation_whole", "pre_event"}, false},
	} {
		var void []string
		kept := map[string]string{}
		scope := map[string][]string{}
		for _, e := range shipped(t).Effects(contacts{}, row.event, []string{"contactors.plus"}, proofs) {
			if e.Kept {
				kept[e.Proof] = e.Reason
			} else {
				void, scope[e.Proof] = append(void, e.Proof), e.Parts
			}
		}
		assert.Equal(t, []string{"contactors.plus"}, scope["weld_check"], "%s: that contactor's, not all", row.event)
		if !row.stand {
			assert.Subset(t, void, row.void, row.event)
			continue
		}
		assert.ElementsMatch(t, row.void, void, row.event)
		assert.Contains(t, kept["first_closing"], "nothing but", row.event)
		assert.NotContains(t, kept, "joints", "%s: the lists do not meet", row.event)
	}
	_, known := shipped(t).Work("stopped_live")
	require.True(t, known)
}
