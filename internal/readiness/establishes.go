package readiness

import "hvproof/internal/run"

// Establishes gives what a run by itself establishes: Holds, Failed or
// Missing, with the reason in one sentence where there is something to say.
// Later runs, time and today's files are left out; they are Proofs' matter.
func Establishes(m *run.Machine) (State, string) {
	switch {
	case m.Start().Rehearsal:
		return Missing, "it is a rehearsal"
	case m.Broken() == nil && m.Outcome() == run.Open:
		return Missing, "it is not finished"
	}
	return outcome(m)
}
