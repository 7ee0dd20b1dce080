package readiness_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
)

// baseline names the runs; second stands behind it, if anybody.
func (w *world) baseline(second string, runs ...string) {
	b := entry.Body{Kind: entry.Baseline}
	b.AddFamily("run", runs...)
	w.add(b, "vance")
	if second != "" {
		all := w.log.Record.Baselines()
		w.add(readiness.Countersign(all[len(all)-1].Ref), second)
	}
}

func ramp(w *world, p *plan.Plan, text string) string {
	return w.run(p, nil, map[string]string{"ramp": text}).ID()
}

// The commissioning runs that two people name are what readings are held
// against; those that one person names are not.
func TestBaseline(t *testing.T) {
	w, p := newWorld(t), wren.requirements()[3].Today
	assert.Contains(t, w.log.Record.Baseline().String(), "none")
	ramp(w, p, "20.000 Ω")
	commissioned := ramp(w, p, "50.000 Ω")
	ramp(w, p, "50.001 Ω")
	f, falls := readiness.Trends(w.log)[0].Falls()
	require.True(t, falls, "without a baseline the first reading is held against it")
	assert.Contains(t, f.Sentence(), "from 20 Ω at the first reading; it passes at most 100 Ω")

	w.baseline("", commissioned)
	assert.Nil(t, w.log.Record.Baseline(), "nobody else stands behind it")
	w.baseline("vance", commissioned)
	assert.Nil(t, w.log.Record.Baseline(), "nor by a second signature of the same person")
	w.baseline("mills", commissioned)
	in := w.log.Record.Baseline()
	require.NotNil(t, in)
	assert.Equal(t, []string{commissioned}, in.Runs)
	assert.Contains(t, in.String(), "1 runs, by vance and mills")
	trend := readiness.Trends(w.log)[0]
	assert.Equal(t, 1, trend.Base)
	_, falls = trend.Falls()
	assert.False(t, falls, "against the commissioning it has not moved")

	ramp(w, p, "53.000 Ω")
	f, falls = readiness.Trends(w.log)[0].Falls()
	require.True(t, falls)
	assert.Contains(t, f.Sentence(), "from 50 Ω at the baseline (entry ")

	w.baseline("", commissioned) // a newer one of one person changes nothing
	assert.Equal(t, in, w.log.Record.Baseline())
	newer := ramp(w, p, "50.200 Ω")
	w.baseline("okoro", newer)
	assert.Equal(t, []string{newer}, w.log.Record.Baseline().Runs)
}

// A reading that is better than its baseline and worse than the one before is
// falling, too.
func TestFallsAgainstTheReadingBefore(t *testing.T) {
	w, p := newWorld(t), wren.requirements()[3].Today
	w.baseline("mills", ramp(w, p, "50.000 Ω"))
	ramp(w, p, "10.000 Ω")
	ramp(w, p, "40.000 Ω")
	f, falls := readiness.Trends(w.log)[0].Falls()
	require.True(t, falls)
	assert.Contains(t, f.Sentence(), "40 Ω, from 10 Ω at the reading before")
}

// Readings in another state of the car, or by another method, are not held
// against each other, and neither is called a fall.
func TestNotComparedInAnotherState(t *testing.T) {
	for name, change := range map[string]func(*plan.Step){
		"state":  func(s *plan.Step) { s.State = []plan.State{{Name: "contactors", Value: "open"}} },
		"method": func(s *plan.Step) { s.Method = "four-wire" },
	} {
		w, p := newWorld(t), wren.requirements()[3].Today
		w.meter.Functions[0].Method = "four-wire"
		ramp(w, p, "10.000 Ω")
		other := *p
		other.Steps = append([]plan.Step{}, p.Steps...)
		i, _ := p.Step("ramp")
		change(&other.Steps[i])
		m := w.begin(&other)
		w.drive(m, nil, map[string]string{"ramp": "40.000 Ω"})
		_, falls := readiness.Trends(w.log)[0].Falls()
		assert.False(t, falls, name)
		w.drive(w.begin(&other), nil, map[string]string{"ramp": "45.000 Ω"})
		f, falls := readiness.Trends(w.log)[0].Falls()
		require.True(t, falls, name)
		assert.Contains(t, f.Sentence(), "45 Ω, from 40 Ω at the reading before", name)
	}
}

// What a baseline names where nobody chose: the runs that the proofs that hold
// rest on, in the order of the log, each once.
func TestCommissioning(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	assert.Empty(t, readiness.Commissioning(w.log, w.proofs(reqs)))
	first := w.run(reqs[0].Today, nil, nil)
	w.run(reqs[1].Today, []string{"left_plus.value"}, nil)
	second := w.run(reqs[2].Today, nil, nil)
	assert.Equal(t, []string{first.ID(), second.ID()}, readiness.Commissioning(w.log, w.proofs(reqs)))
}
