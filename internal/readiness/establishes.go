package readiness

import (
	"fmt"

	"hvproof/internal/run"
)

// Establishes gives what a run by itself establishes: Holds, Failed or
// Missing, with the reason in one sentence where there is something to say.
// Later runs, time and today's files are left out; they are Proofs' matter.
func Establishes(m *run.Machine) (State, string) {
	switch {
	case m.Start().Rehearsal:
		return Missing, "it is a rehearsal"
	case m.Broken() != nil:
		return Failed, fmt.Sprintf("the record of run %s contradicts itself: %v", m.ID(), m.Broken())
	case m.Outcome() == run.Open:
		return Missing, "it is not finished"
	case m.Outcome() != run.Passed:
		return Failed, fmt.Sprintf("run %s: %s", m.ID(), m.Reason())
	}
	answered, reserved := 0, ""
	for _, s := range m.Steps() {
		if s.Decision == run.NotApplicable {
			continue
		}
		answered += len(s.Attempts)
		if s.Decision == run.ConditionalPass {
			reserved = fmt.Sprintf("with a conditional pass at %s, which the procedure accepts", s.Step.Path)
		}
	}
	if answered == 0 {
		return Missing, fmt.Sprintf("no step of run %s applied to the car", m.ID())
	}
	if f := m.Findings(); len(f) > 0 {
		return Failed, fmt.Sprintf("run %s has a finding that nobody has explained: %s", m.ID(), f[0])
	}
	return Holds, reserved
}
