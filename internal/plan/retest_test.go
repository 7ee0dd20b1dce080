package plan

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// matrix is a plan as a shutdown circuit gives it: what stands in no loop,
// two devices, two contactors each, and a computed step that looks across.
func matrix() *Plan {
	p := &Plan{Car: "car", Procedure: "shutdown", Title: "Shutdown", Stage: "A", People: 1}
	add := func(path string, items ...string) {
		p.Steps = append(p.Steps, Step{Path: path, Kind: Confirm, Text: path, IfFailed: Stop, Items: items, Choices: []string{"no", "yes"}, Expect: "yes"})
	}
	add("sign_in")
	for _, d := range []string{"red", "blue"} {
		add(d+".operated", d)
		for _, c := range []string{"plus", "minus"} {
			add(d+"."+c+".opens", d, d+"."+c)
		}
	}
	add("leads_after")
	add("sign_out")
	p.SignOut = len(p.Steps) - 1
	return p
}

func paths(p *Plan) (out []string) {
	for i := range p.Steps {
		out = append(out, p.Steps[i].Path)
	}
	return out
}

func TestRestrict(t *testing.T) {
	p := matrix()
	require.Equal(t, []string{Frame, "red", "red.plus", "red.minus", "blue", "blue.plus", "blue.minus"}, p.ItemList())
	one, err := p.Restrict([]string{"blue.minus"})
	require.NoError(t, err)
	assert.Equal(t, []string{"sign_in", "blue.operated", "blue.minus.opens", "leads_after", "sign_out"}, paths(one))
	assert.Equal(t, "sign_out", one.Steps[one.SignOut].Path, "sign-out stays the sign-out")
	assert.Equal(t, []string{"blue.minus"}, one.Retest)
	text, err := Marshal(one)
	require.NoError(t, err)
	again, err := Parse(text)
	require.NoError(t, err)
	assert.Equal(t, one, again)

	frame, err := p.Restrict(nil)
	require.NoError(t, err)
	assert.Equal(t, []string{"sign_in", "leads_after", "sign_out"}, paths(frame))

	whole, err := p.Restrict(p.ItemList())
	require.NoError(t, err)
	assert.Same(t, p, whole)

	_, err = p.Restrict([]string{"green"})
	assert.EqualError(t, err, `shutdown has no item "green"`)
}

// A computed step in one turn that rests on a reading of another keeps it.
func TestRestrictKeepsWhatAValueRestsOn(t *testing.T) {
	p := matrix()
	i, _ := p.Step("blue.plus.opens")
	p.Steps[i].From = []Arg{{Name: "a", Step: "red.plus.opens"}}
	one, err := p.Restrict([]string{"blue.plus"})
	require.NoError(t, err)
	assert.Equal(t, []string{"sign_in", "red.operated", "red.plus.opens", "blue.operated", "blue.plus.opens", "leads_after", "sign_out"}, paths(one))
}

func TestItemsOfAStepAreCheckedAgainstItsPath(t *testing.T) {
	for _, items := range [][]string{{"blue"}, {"red", "blue.plus"}, {"red.plus", "red"}, {"red", "red"}, {"re"}} {
		p := matrix()
		i, _ := p.Step("red.plus.opens")
		p.Steps[i].Items = items
		assert.ErrorContains(t, p.Check(), "is not a turn around it", items)
	}
	p := matrix()
	p.Retest = []string{"green"}
	assert.EqualError(t, p.Check(), `plan: retest of "green", which has no step`)
}
