package run

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
)

// The decisions of a step. Pass to CannotDecide are those of package
// measure; Done is a statement that holds and needs no judging.
const (
	Pass            = "pass"
	ConditionalPass = "conditional pass"
	ConditionalFail = "conditional fail"
	Fail            = "fail"
	CannotDecide    = "cannot decide"
	Done            = "done"
	NotApplicable   = "not applicable"
	NotDone         = "not done"
)

// Answer judges an answer to the prompt p, which must be the one that Next
// gives, and proposes the entries that record it, in order, each to be
// signed by p.Person. The machine does not advance: that is Apply's.
//
// Errors: *Refused where the answer cannot be taken, *AskBack where it must
// be confirmed first. In both cases nothing is to be recorded.
func (m *Machine) Answer(p Prompt, a Answer) ([]entry.Body, error) {
	if now := m.Next(); now.Key != p.Key || now.Kind != p.Kind || now.Attempt != p.Attempt {
		return nil, &Refused{p.Key, "this step is not waited for any more", "the run is at " + now.Key}
	}
	if a.MakeSafe || a.Leave {
		return m.leave(p, a)
	}
	body := m.body(p)
	switch p.Kind {
	case Finished:
		return nil, &Refused{"run", "the run has ended", "begin a new one with run"}
	case AskResume, AskState:
		return m.stateAnswer(p, a)
	case AskAmbient:
		return m.ambientAnswer(p, a)
	case AskCaution:
		if err := oneOf(p, a.Text); err != nil {
			return nil, err
		}
		body.Kind = entry.Caution
		var ids []string
		for _, c := range p.Texts {
			ids = append(ids, c.ID)
		}
		body.AddFamily("caution", ids...)
		body.Add("text", normal(a.Text))
		return one(body), nil
	case AskStatement:
		return m.statement(p, a)
	case AskReading:
		return m.reading(p, a)
	case AskCapture:
		return m.captured(p, a)
	case AskWait:
		return m.wait(p, a)
	case AskRelease, AskWitness:
		if err := oneOf(p, a.Text); err != nil {
			return nil, err
		}
		g := m.steps[m.at]
		last := g.attempts[len(g.attempts)-1]
		body.Kind = map[PromptKind]entry.Kind{AskRelease: entry.Release, AskWitness: entry.Witness}[p.Kind]
		body.Add("entry", strconv.FormatInt(last.Index, 10))
		body.Add("leaf", entry.FormatHash(last.Leaf))
		body.Add("text", normal(a.Text))
		return one(body), nil
	case AskAgain:
		return m.againAnswer(p, a)
	case Automatic:
		return m.automatic(p)
	}
	return nil, fmt.Errorf("a prompt of kind %q has no answer", p.Kind)
}

func one(b entry.Body) []entry.Body { return []entry.Body{b} }

// body begins an entry of this run at the prompt's step.
func (m *Machine) body(p Prompt) entry.Body {
	b := entry.Body{Run: m.id}
	if p.Step != nil {
		b.Path = p.Step.Path
	}
	return b
}

// leave stops the run for now, with or without making safe.
func (m *Machine) leave(p Prompt, a Answer) ([]entry.Body, error) {
	if p.Kind == Finished {
		return nil, &Refused{"run", "the run has ended", ""}
	}
	if m.plan.Live && !a.MakeSafe && !p.SignOut {
		return nil, &Refused{p.Key, "a live procedure is not left as it is", "stop and make safe"}
	}
	b := entry.Body{Run: m.id, Kind: entry.Left}
	b.Add("reason", a.Reason)
	if a.MakeSafe {
		return one(m.makeSafe("said by a person at the car", a.Reason)), nil
	}
	return one(b), nil
}

// againAnswer records that a failed step is tried again, or left failed.
func (m *Machine) againAnswer(p Prompt, a Answer) ([]entry.Body, error) {
	b := m.body(p)
	switch {
	case a.Decline == a.Again:
		return nil, &Refused{p.Key, "neither once more nor leave it failed was said", "say one of the two"}
	case a.Decline:
		b.Kind = entry.StepEnd
		b.Add("outcome", Failed)
		b.Add("reason", a.Reason)
		return one(b), nil
	case p.NeedCause && strings.TrimSpace(a.Cause) == "":
		return nil, &Refused{p.Key, "a third attempt needs a written cause", "say in a sentence what the cause is thought to be"}
	}
	b.Kind = entry.Again
	b.Add("attempt", strconv.Itoa(p.Attempt))
	b.Add("reason", strings.TrimSpace(a.Reason))
	b.Add("cause", strings.TrimSpace(a.Cause))
	b.Add("reopen", m.firstInput(p.Step))
	return one(b), nil
}

// makeSafe gives the entry that records a stop with the actions that the
// plan asks for.
func (m *Machine) makeSafe(reason, text string) entry.Body {
	b := entry.Body{Run: m.id, Kind: entry.MakeSafe}
	b.Add("reason", reason)
	b.AddFamily("action", m.plan.MakeSafe...)
	b.Add("text", text)
	return b
}

// firstInput gives the path from which a step is repeated: its own, or the
// earliest reading that a computed step rests on.
func (m *Machine) firstInput(s *plan.Step) string {
	first := m.at
	for _, a := range s.From {
		if i, ok := m.plan.Step(a.Step); ok && i < first && m.plan.Steps[i].NotApplicable == "" {
			first = i
		}
	}
	return m.plan.Steps[first].Path
}

// automatic proposes what needs no answer.
func (m *Machine) automatic(p Prompt) ([]entry.Body, error) {
	if m.ending && m.needMakeSafe() {
		return one(m.makeSafe(m.reason, "")), nil
	}
	if p.Step != nil && p.Step.Kind == plan.Hold {
		b := m.body(p)
		b.Kind = entry.Hold
		b.Add("role", p.Step.Hold)
		b.Add("text", p.Step.Text)
		return one(b), nil
	}
	if p.Step != nil {
		return m.compute(p)
	}
	b := entry.Body{Run: m.id, Kind: entry.RunEnd}
	outcome := Passed
	if m.failed {
		outcome = Failed
	}
	b.Add("outcome", outcome)
	b.Add("reason", m.reason)
	return one(b), nil
}

// oneOf refuses a text that is not one of the prompt's choices.
func oneOf(p Prompt, text string) error {
	if slices.Contains(p.Choices, normal(text)) {
		return nil
	}
	return &Refused{p.Key, fmt.Sprintf("%q is not an answer here", text), "type " + choices(p.Choices)}
}

// normal folds case and spaces, as people type.
func normal(text string) string { return strings.ToLower(strings.Join(strings.Fields(text), " ")) }

func choices(words []string) string {
	switch len(words) {
	case 0:
		return "what you see"
	case 1:
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}
