package checklists_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/checklists"
	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/run"
	"hvproof/internal/yamlfile"
)

// answers is a recorded answers file.
type answers struct {
	People      yamlfile.Map[yamlfile.Scalar] `yaml:"people"`
	Instruments yamlfile.Map[yamlfile.Scalar] `yaml:"instruments"`
	Answers     yamlfile.Map[*yamlfile.Node]  `yaml:"answers"`
}

// answer is one answer with more than its text.
type answer struct {
	Read    yamlfile.Scalar `yaml:"read" validate:"required"`
	Confirm bool            `yaml:"confirm"`
	Reason  string          `yaml:"reason"`
	Cause   string          `yaml:"cause"`
	Range   string          `yaml:"range"`
}

// A player answers the prompts of a run from a file.
type player struct {
	t    *testing.T
	file *yamlfile.File
	all  map[string][]*yamlfile.Node
	used map[string]int
}

func newPlayer(t *testing.T, f *yamlfile.File, a answers) *player {
	p := &player{t: t, file: f, all: map[string][]*yamlfile.Node{}, used: map[string]int{}}
	for _, key := range a.Answers.Keys() {
		n, _ := a.Answers.Get(key.Text)
		p.all[key.Text] = []*yamlfile.Node{n}
		if n.Kind() == yamlfile.ListKind {
			p.all[key.Text] = n.Items()
		}
	}
	return p
}

// next gives the next answer under a key; none is a fault of the file.
func (p *player) next(key string) run.Answer {
	p.t.Helper()
	n := p.used[key]
	require.Less(p.t, n, len(p.all[key]), "%s: no answer to %s", p.file.Name, key)
	p.used[key]++
	node := p.all[key][n]
	if node.Kind() == yamlfile.TextKind {
		return run.Answer{Text: node.Text()}
	}
	var a answer
	require.Empty(p.t, node.Decode(p.file, &a))
	return run.Answer{Text: a.Read.Text, Confirm: a.Confirm, Reason: a.Reason, Cause: a.Cause, Range: a.Range}
}

// again goes on where a failed step, or a reading that it was computed from,
// has a further answer.
func (p *player) again(s *plan.Step) run.Answer {
	paths := []string{s.Path}
	for _, a := range s.From {
		paths = append(paths, a.Step)
	}
	for _, path := range paths {
		if p.used[path] < len(p.all[path]) {
			return run.Answer{Again: true, Reason: "as the file says"}
		}
	}
	return run.Answer{Decline: true, Reason: "no further answer"}
}

func (p *player) answer(prompt run.Prompt) run.Answer {
	switch prompt.Kind {
	case run.Automatic:
		return run.Answer{}
	case run.AskAgain:
		return p.again(prompt.Step)
	case run.AskWitness:
		return run.Answer{Text: run.Seen}
	case run.AskRelease:
		return p.next(prompt.Step.Path)
	}
	return p.next(prompt.Key)
}

// play takes a run to its end and says how it ended. Every answer of the
// file must have been asked for.
func (p *player) play(m *run.Machine) string {
	p.t.Helper()
	clock := time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC)
	var index int64
	for prompt := m.Next(); prompt.Kind != run.Finished; prompt = m.Next() {
		a := p.answer(prompt)
		a.At = clock
		if name, ok := run.CaptureFile(a.Text); ok && prompt.Kind == run.AskCapture {
			var err error
			a.File, err = checklists.Files.ReadFile("demo/" + name)
			require.NoError(p.t, err)
		}
		bodies, err := m.Answer(prompt, a)
		var back *run.AskBack
		if errors.As(err, &back) {
			p.t.Fatalf("%s: %s: %q is asked back: %v", p.file.Name, prompt.Key, a.Text, back.Questions)
		}
		var refused *run.Refused
		if errors.As(err, &refused) {
			p.t.Fatalf("%s: %v; %s", p.file.Name, err, refused.Hint)
		}
		require.NoError(p.t, err, p.file.Name)
		require.NotEmpty(p.t, bodies)
		for _, b := range bodies {
			index++
			clock = clock.Add(20 * time.Second)
			e := entry.Entry{Header: entry.Header{Index: index, Time: clock}, Body: b}
			require.NoError(p.t, m.Apply(e, [32]byte{byte(index), byte(index >> 8)}, prompt.Person), prompt.Key)
		}
	}
	for key, list := range p.all {
		require.Equal(p.t, len(list), p.used[key], "%s: answers to %s that nobody asked for", p.file.Name, key)
	}
	return m.Outcome()
}

// start gives the start of a run with the people and meters of a file.
func start(t *testing.T, p *plan.Plan, a answers, meters []measure.Instrument) run.Start {
	t.Helper()
	person := func(role string) string { s, _ := a.People.Get(role); return s.Text }
	s := run.Start{
		Plan: p, Operator: person("operator"), Witness: person("witness"), Releaser: person("releaser"),
		Instruments: map[string]string{}, Practice: true, Date: "2027-03-20",
	}
	byID := map[string]measure.Instrument{}
	for _, m := range meters {
		byID[m.ID] = m
	}
	taken := map[string]bool{}
	for _, role := range a.Instruments.Keys() {
		id, _ := a.Instruments.Get(role.Text)
		require.Contains(t, byID, id.Text, fmt.Sprintf("the role %s", role.Text))
		s.Instruments[role.Text] = id.Text
		if !taken[id.Text] {
			taken[id.Text] = true
			s.Meters = append(s.Meters, byID[id.Text])
		}
	}
	return s
}
