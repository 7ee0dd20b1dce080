package run

import (
	"fmt"

	"hvproof/internal/capture"
	"hvproof/internal/entry"
	"hvproof/internal/plan"
)

// Refuted reads a recorded capture's file again, and says why the decision on
// it does not follow from what the file gives: the numbers beside it were
// altered, or a faulty program found them. It is "" where the decision
// follows, where it claims nothing, and where another version of the reader
// read the file, so that this one cannot tell.
func (m *Machine) Refuted(s *plan.Step, a *Attempt, file []byte) string {
	if a.Body.Kind != entry.Capture || !accepted(s, a.Decision) || a.Body.Text("importer") != capture.Importer {
		return ""
	}
	_, found, err := m.Waveform(s, a, file)
	if err != nil {
		return fmt.Sprintf("run %s, %s: %s is recorded, and its file cannot be read in the way it was: %v", m.ID(), s.Path, a.Decision, err)
	}
	j := judgeFeatures(s, readings(found.Features), findings(found.Findings))
	if worse(a.Decision, j.Decision) == a.Decision {
		return ""
	}
	why := ""
	if len(j.Findings) > 0 {
		why = " (" + j.Findings[0] + ")"
	}
	return fmt.Sprintf("run %s, %s: %s is recorded, and the waveform itself gives %s%s", m.ID(), s.Path, a.Decision, j.Decision, why)
}
