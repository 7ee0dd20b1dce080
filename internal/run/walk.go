package run

import "iter"

// Answered gives, of every step of the run that was answered, what Steps gives,
// without making a list of them: a log has many runs.
func (m *Machine) Answered() iter.Seq[*StepResult] {
	return func(yield func(*StepResult) bool) {
		for i := range m.steps {
			g := &m.steps[i]
			if len(g.attempts) == 0 {
				continue
			}
			r := m.result(i)
			if !yield(&r) {
				return
			}
		}
	}
}
