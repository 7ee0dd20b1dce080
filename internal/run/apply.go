package run

import (
	"fmt"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
)

// Apply advances the machine by one durable entry of its run; leaf is the
// entry's leaf hash and signer the person whose signature it carries.
// Entries of other runs and of kinds that are not part of a run are passed
// over. An entry that this machine could not have proposed is an error: the
// log then holds something that no run would write.
func (m *Machine) Apply(e entry.Entry, leaf [32]byte, signer string) error {
	if e.Run != m.id {
		return nil
	}
	m.note(e, leaf, signer)
	if m.ended != "" && e.Kind != entry.Note {
		return fmt.Errorf("entry %d: %s after the end of run %s", e.Index, e.Kind, m.id)
	}
	m.skip()
	m.last = e.Time
	switch e.Kind {
	case entry.Resume:
		m.resume, m.acked, m.state = false, nil, nil
		m.takeState(e.Body)
	case entry.Ambient:
		m.air = true
	case entry.Caution:
		for _, id := range e.Body.Family("caution") {
			if m.acked == nil {
				m.acked = map[string]bool{}
			}
			m.acked[id] = true
		}
	case entry.State:
		m.takeState(e.Body)
	case entry.MakeSafe:
		m.stopped(e)
		m.safed = true
		m.resume = !m.ending
	case entry.Left:
		m.resume = true
	case entry.RunEnd:
		outcome := Passed
		if m.failed {
			outcome = Failed
		}
		if said := e.Text("outcome"); m.at < len(m.steps) || m.resume || m.needMakeSafe() || said != outcome {
			return fmt.Errorf("entry %d: run %s is ended as %s, and stands at %s", e.Index, m.id, said, orEnd(m.Next().Key))
		}
		m.ended = outcome
	case entry.Statement, entry.Reading, entry.Computed, entry.Capture, entry.Wait,
		entry.Hold, entry.Release, entry.Again, entry.StepEnd, entry.Witness:
		return m.applyStep(e, leaf, signer)
	}
	return nil
}

func orEnd(key string) string {
	if key == "" {
		return "its end"
	}
	return key
}

func (m *Machine) applyStep(e entry.Entry, leaf [32]byte, signer string) error {
	i, ok := m.plan.Step(e.Path)
	if !ok || i != m.at {
		return fmt.Errorf("entry %d: %s for step %q, which run %s did not wait for", e.Index, e.Kind, e.Path, m.id)
	}
	s, g := &m.plan.Steps[i], &m.steps[i]
	switch e.Kind {
	case entry.Witness:
		if !g.awaiting {
			return fmt.Errorf("entry %d: witness of step %q, which has nothing to be witnessed", e.Index, e.Path)
		}
		g.awaiting, g.closed = false, true
		g.attempts[len(g.attempts)-1].Witness = signer
	case entry.Hold:
		g.attempts = append(g.attempts, attempt(e, leaf, signer))
		g.reopened, g.held = len(g.attempts), true
	case entry.Release:
		if !g.held {
			return fmt.Errorf("entry %d: release of step %q, which holds nothing", e.Index, e.Path)
		}
		g.closed, g.held = true, false
		g.attempts[len(g.attempts)-1].Decision = Done
		g.attempts[len(g.attempts)-1].Witness = signer
	case entry.Again:
		from, _ := e.Body.Get("reopen")
		return m.reopen(from, i, e.Index)
	case entry.StepEnd:
		g.closed, g.failed, m.failed = true, true, true
		m.reason = s.Path + " failed"
		if s.IfFailed != plan.Note {
			m.ending = true
		}
	default:
		if !m.heldBefore(e) {
			if err := m.rejudge(e, s); err != nil {
				return err
			}
		}
		a := attempt(e, leaf, signer)
		g.attempts, g.again = append(g.attempts, a), false
		m.tried(s, a)
		if accepted(s, a.Decision) {
			g.awaiting, g.closed = s.Witness, !s.Witness
			g.reopened = len(g.attempts) // nothing to repeat
		}
	}
	return nil
}

// reopen sets aside the attempts of the steps from path up to step last, so
// that they are asked again.
func (m *Machine) reopen(path string, last int, index int64) error {
	first, ok := m.plan.Step(path)
	if !ok || first > last {
		return fmt.Errorf("entry %d: reopens step %q, which is not before %q", index, path, m.plan.Steps[last].Path)
	}
	for i := first; i <= last; i++ {
		g := &m.steps[i]
		g.reopened, g.again = len(g.attempts), len(g.attempts) > 0
		g.closed = false
	}
	m.at = first
	return nil
}

func attempt(e entry.Entry, leaf [32]byte, signer string) Attempt {
	a := Attempt{Index: e.Index, Leaf: leaf, Body: e.Body, Time: e.Time, Signer: signer}
	a.Decision, _ = e.Body.Get("decision")
	if e.Kind == entry.Wait {
		a.Decision = Done
	}
	a.Findings = e.Body.Family("finding")
	a.Value, a.HasValue = e.Body.Number("value")
	a.U, _ = e.Body.Number("u")
	return a
}

// accepted reports whether a step with this decision needs no repeating.
func accepted(s *plan.Step, decision string) bool {
	switch decision {
	case Pass, Done:
		return true
	case ConditionalPass:
		return s.ConditionalPass
	}
	return false
}

func (m *Machine) takeState(b entry.Body) {
	for _, v := range b.Family("state") {
		if name, value, ok := strings.Cut(v, " "); ok {
			if m.state == nil {
				m.state = map[string]string{}
			}
			m.state[name] = value
		}
	}
}
