package procedure

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/yamlfile"
)

// brief writes a procedure that proves its own name.
func brief(id, stage, needs string) string {
	return fmt.Sprintf(`format: 1
procedure: %s
title: T
stage: %s
live: false
proves: {%s: [whole]}
prerequisites: [%s]
steps: [{id: a, confirm: A.}]
`, id, stage, id, needs)
}

func TestOrder(t *testing.T) {
	fx := load(t, read(t, "car.yaml"))
	l := fx.library(t,
		parse(t, brief("drive", "D", "first_closing")),
		parse(t, brief("first_closing", "C", "pack, low_energy, joints")),
		parse(t, brief("low_energy", "B", "joints")),
		parse(t, brief("pack", "C", "")),
		parse(t, brief("shutdown", "A", "joints")),
		parse(t, brief("joints", "A", "")),
	)
	order, problems := l.Order()
	assert.Empty(t, problems)
	assert.Equal(t, []string{"joints", "shutdown", "low_energy", "pack", "first_closing", "drive"}, order)
	assert.Empty(t, l.Check(fx.car, fx.book))
}

func TestCheckWholeLibrary(t *testing.T) {
	for _, c := range []struct {
		name  string
		files []string
		want  []string
	}{
		{"circle", []string{brief("a", "A", "b"), brief("b", "A", "c"), brief("c", "A", "a"), brief("d", "A", "c")}, []string{
			"no order from everything missing, a circle of prerequisites: a needs b needs c needs a",
			"it can never be done: it waits for c, a, b",
		}},
		{"needs itself", []string{brief("a", "A", "a")}, []string{"a circle of prerequisites: a needs a"}},
		{"later stage", []string{brief("a", "A", "b"), brief("b", "C", "")}, []string{"stages out of order: a is of stage A and needs b, which b of stage C proves"}},
		{"unproved", []string{brief("a", "A", "nowhere")}, []string{`no procedure proves "nowhere"`}},
		{"two for one", []string{brief("a", "A", ""), strings.Replace(brief("b", "A", ""), "{b:", "{a:", 1)}, []string{"a proves a, too"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			fx := load(t, read(t, "car.yaml"))
			var list []*Procedure
			for _, text := range c.files {
				list = append(list, parse(t, text))
			}
			problems := fx.library(t, list...).Check(fx.car, fx.book)
			require.Len(t, problems, len(c.want), "%s", problems)
			for _, want := range c.want {
				assert.Contains(t, problems.String(), want)
			}
		})
	}
}

func TestRequiredProof(t *testing.T) {
	fx := load(t, []byte(strings.Replace(string(read(t, "car.yaml")), "assessed_to:", "required: [joint]\nassessed_to:", 1)))
	problems := fx.library(t, parse(t, brief("joints", "A", ""))).Check(fx.car, fx.book)
	require.Len(t, problems, 1)
	assert.Equal(t, `no procedure proves "joint"`, problems[0].Message)
	assert.Equal(t, "vehicle.yaml", problems[0].File)
	assert.Equal(t, "did you mean joints?", problems[0].Hint)
}

func TestNewLibraryRefusesOneNameTwice(t *testing.T) {
	a, b := parse(t, brief("a", "A", "")), parse(t, brief("a", "B", ""))
	_, problems := NewLibrary([]*Procedure{a, b}, nil)
	require.Len(t, problems, 1)
	assert.Contains(t, problems[0].Message, "a is the name of p.yaml:2:12, too")
}

func TestBlocks(t *testing.T) {
	fx := load(t, read(t, "car.yaml"))
	block := func(id, include string) *Procedure {
		return parse(t, fmt.Sprintf("format: 1\nblock: %s\ntitle: T\nsteps: [{include: %s, id: x}]\n", id, include))
	}
	l := fx.library(t, block("b", "c"), block("c", "b"),
		parse(t, "format: 1\nprocedure: a\ntitle: T\nstage: A\nsteps: [{include: b, id: x}]\n"))
	_, problems := l.Plan("a", fx.car, fx.book, nil, false)
	assert.Contains(t, problems.String(), "the block includes itself: b, c, b")
	assert.NotContains(t, l.IDs(), "b")
}

// A file cannot make the program run for ever: loops in loops stop at the
// most steps that a plan may have.
func TestTooManySteps(t *testing.T) {
	var car strings.Builder
	car.WriteString(string(read(t, "car.yaml")))
	for i := range 40 {
		fmt.Fprintf(&car, "  joint_%d: {thread: M8, torque: 17 N·m ±10%%}\n", i)
	}
	fx := load(t, []byte(car.String()))
	for _, inner := range []string{
		"[{id: s, confirm: S.}]",
		"[{for_every: bonding.points, called: p, applies_if: has(pyro), steps: [{id: s, confirm: S.}]}]",
	} {
		steps := inner
		for _, name := range []string{"three", "two", "one"} {
			steps = fmt.Sprintf("[{for_every: joints, called: %s, steps: %s}]", name, steps)
		}
		l := fx.library(t, parse(t, "format: 1\nprocedure: a\ntitle: T\nstage: A\nsteps: "+steps+"\n"))
		p, problems := l.Plan("a", fx.car, fx.book, nil, false)
		assert.Nil(t, p)
		assert.Contains(t, problems.String(), "more than 5000 steps")
		assert.LessOrEqual(t, len(problems), 2)
	}
}

// From any prerequisites, the order is one in which everything can be done,
// or what is left out is blamed.
func TestOrderIsAProof(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 7).Draw(t, "procedures")
		var list []*Procedure
		for i := range n {
			var needs []string
			for j := range n {
				if rapid.IntRange(0, 4).Draw(t, "needs") == 0 {
					needs = append(needs, fmt.Sprint("p", j))
				}
			}
			stage := rapid.SampledFrom(stages).Draw(t, "stage")
			f, _ := yamlfile.Parse("p.yaml", []byte(brief(fmt.Sprint("p", i), stage, strings.Join(needs, ", "))))
			p, problems := Parse(f)
			require.NotNil(t, p, "%s", problems)
			list = append(list, p)
		}
		l, _ := NewLibrary(list, nil)
		order, problems := l.Order()
		done := map[string]bool{}
		for _, id := range order {
			p, _ := l.Procedure(id)
			for _, need := range p.Prerequisites() {
				assert.True(t, done[need], "%s before its prerequisite %s", id, need)
			}
			assert.False(t, done[id])
			done[id] = true
		}
		assert.Equal(t, len(order) < n, len(problems) > 0)
		for _, p := range list {
			if !done[p.ID] {
				assert.True(t, slices.ContainsFunc(p.Prerequisites(), func(s string) bool { return !done[s] }))
			}
		}
	})
}
