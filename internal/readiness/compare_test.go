package readiness_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// Two runs side by side: a change only between two numbers of one quantity,
// neither of them one-sided, and what only one of them has.
func TestCompare(t *testing.T) {
	w, p := newWorld(t), wren.requirements()[1].Today
	a := w.run(p, nil, map[string]string{"left_plus.value": "10.000 Ω", "right_plus.value": "10.000 Ω", "left_minus.value": ">1000 Ω"})
	cut := *p
	cut.Steps = append([]plan.Step{}, p.Steps...)
	gone, _ := p.Step("left_minus.value")
	cut.Steps[gone].Path, cut.Steps[gone].Bounds = "left_minus.other", nil
	b := w.run(&cut, nil, map[string]string{"left_plus.value": "10.100 Ω", "right_plus.value": "20.000 Ω", "left_minus.other": "30.000 Ω"})
	pairs := map[string]readiness.Pair{}
	for _, x := range readiness.Compare(a, b) {
		pairs[x.Path] = x
	}
	require.Len(t, pairs, len(p.Steps)+1)
	x := pairs["left_plus.value"]
	assert.True(t, x.HasChange)
	assert.InDelta(t, 0.1, x.Change, 1e-9)
	assert.False(t, x.Beyond, "within the meters' uncertainty of about 0.15 Ω")
	x = pairs["right_plus.value"]
	assert.True(t, x.Beyond && x.HasChange)
	assert.Equal(t, "pass", x.DecidedA)
	assert.False(t, pairs["sign_in"].HasChange, "words have no change")
	assert.Equal(t, "yes", pairs["sign_in"].A)
	x = pairs["left_minus.value"]
	assert.True(t, x.OnlyA && !x.HasChange)
	assert.Contains(t, x.A, "1000 Ω")
	assert.Empty(t, x.B)
	x = pairs["left_minus.other"]
	assert.True(t, x.OnlyB && !x.HasChange)
	assert.Contains(t, x.B, "30.000 Ω")
	assert.Empty(t, x.A)

	// A one-sided reading, another quantity, and a run that stopped before.
	one := func(m *run.Machine) readiness.Pair { return readiness.Compare(a, m)[3] }
	require.Equal(t, "left_minus.value", readiness.Compare(a, a)[3].Path)
	assert.False(t, one(w.run(p, nil, nil)).HasChange, "above 1000 Ω is no number to take a difference from")
	dim := *p
	dim.Steps = append([]plan.Step{}, p.Steps...)
	i, _ := p.Step("left_plus.value")
	dim.Steps[i].Dim, dim.Steps[i].Bounds = quantity.Volt, nil
	w.insulation()
	other := w.run(&dim, nil, map[string]string{"left_plus.value": "5.000 V"})
	assert.False(t, readiness.Compare(a, other)[i].HasChange, "ohms and volts")
	open := w.begin(p)
	assert.False(t, readiness.Compare(a, open)[i].HasChange)
	assert.False(t, readiness.Compare(open, a)[i].HasChange)
	assert.Contains(t, readiness.Compare(open, a)[i].B, "10.000 Ω")
}

// What a run by itself establishes.
func TestEstablishes(t *testing.T) {
	w, p := newWorld(t), wren.requirements()[1].Today
	open := w.begin(p)
	state, why := readiness.Establishes(open)
	assert.Equal(t, readiness.Missing, state)
	assert.Equal(t, "it is not finished", why)
	state, _ = readiness.Establishes(w.run(p, nil, nil))
	assert.Equal(t, readiness.Holds, state)
	state, why = readiness.Establishes(w.run(p, []string{"left_plus.value"}, nil))
	assert.Equal(t, readiness.Failed, state)
	assert.Contains(t, why, "left_plus.value failed")
}

// An outlier is far by its siblings' spread and by the meters, not by one alone.
func TestOutlierByBoth(t *testing.T) {
	big := car{[]string{"a", "b", "c", "d", "e", "f"}, []string{"cabin"}}
	outliers := func(f string) []readiness.Outlier {
		w := newWorld(t)
		w.run(big.requirements()[1].Today, nil, map[string]string{"a.value": "10.000 Ω", "b.value": "10.000 Ω", "c.value": "10.001 Ω",
			"d.value": "10.000 Ω", "e.value": "9.999 Ω", "f.value": f})
		return readiness.Outliers(readiness.Trends(w.log))
	}
	// 50 mΩ off among readings within 1 mΩ, and the meter leaves 0.1 Ω open.
	assert.Empty(t, outliers("10.050 Ω"), "far by the spread, not by the meter")
	assert.Len(t, outliers("11.000 Ω"), 1)

	w := newWorld(t) // every reading far from every other: no sibling is like another
	w.run(big.requirements()[1].Today, nil, map[string]string{"a.value": "10.000 Ω", "b.value": "20.000 Ω", "c.value": "30.000 Ω",
		"d.value": "40.000 Ω", "e.value": "50.000 Ω", "f.value": "60.000 Ω"})
	assert.Empty(t, readiness.Outliers(readiness.Trends(w.log)), "far by the meter, not by the spread")

	// What has another limit is no sibling: one bolt of another size is not far
	// from the others, and leaves them as few as they are.
	w, p := newWorld(t), *big.requirements()[1].Today
	p.Steps = slices.Clone(p.Steps)
	for i, s := range p.Steps {
		if s.Path == "f.value" {
			p.Steps[i].Bounds = slices.Clone(s.Bounds)
			p.Steps[i].Bounds[0].High *= 2
		}
	}
	w.run(&p, nil, map[string]string{"a.value": "10.000 Ω", "b.value": "10.000 Ω", "c.value": "10.001 Ω",
		"d.value": "10.000 Ω", "e.value": "9.999 Ω", "f.value": "20.000 Ω"})
	assert.Empty(t, readiness.Outliers(readiness.Trends(w.log)), "another limit")
}
