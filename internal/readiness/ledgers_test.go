package readiness_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/form"
	"hvproof/internal/readiness"
)

func answered(t *testing.T, f *form.Form, answers map[string][]string) *form.Form {
	t.Helper()
	for x, more := f.Next(); more; x, more = f.Next() {
		require.NoError(t, f.Take(answers[x.Key]), x.Key)
	}
	return f
}

func (w *world) grant(t *testing.T, procedure string, second string) *readiness.Grant {
	t.Helper()
	f := answered(t, readiness.GrantForm(true, []string{"mills", "okoro", "vance"}, "vance", w.now),
		map[string][]string{"people": {"mills", "okoro"}, "until": {"18:00"}, "barrier": {"chains"}, "second": {"okoro"}})
	e := w.add(readiness.SanctionBody(procedure, nil, f), "vance")
	g := w.log.Record.Grant(e.Index)
	if second != "" {
		w.add(readiness.Countersign(g.Ref), second)
	}
	return g
}

func TestSanction(t *testing.T) {
	who := []string{"mills", "okoro"}
	w, reqs := newWorld(t), wren.requirements()
	ask := func() string { return w.log.Record.Sanctioned("precharge", "C", who, w.now) }
	assert.Contains(t, ask(), "there is none")
	assert.Empty(t, w.log.Record.Sanctioned("bonding", "A", who, w.now), "stage A needs none")
	w.grant(t, "precharge", "")
	assert.Contains(t, ask(), "the second signature is missing")
	w.grant(t, "precharge", "vance")
	assert.Contains(t, ask(), "the second signature is missing", "two signatures are two people")
	g := w.grant(t, "precharge", "okoro")
	assert.Empty(t, ask())
	assert.Contains(t, w.log.Record.Sanctioned("discharge", "C", who, w.now), "there is none", "it names one procedure")
	assert.Contains(t, w.log.Record.Sanctioned("precharge", "C", []string{"brandt"}, w.now), "brandt is not named")
	w.add(readiness.EndBody(g.Ref, "tea"), "mills")
	assert.Contains(t, ask(), "ended: tea")

	w.grant(t, "precharge", "okoro")
	w.work(book(t), wren, "value_changed", nil, reqs)
	assert.Contains(t, ask(), "work on the HV system was recorded since")
	w.grant(t, "precharge", "okoro")
	require.Empty(t, ask())
	w.now = time.Date(2027, 3, 20, 18, 0, 1, 0, time.UTC)
	assert.Contains(t, ask(), "it was until 2027-03-20 18:00")
	w.now = w.now.Add(-6 * time.Hour)
	assert.Empty(t, ask(), "no entry was made since, so the clock may be right")
}

// A permit ends with its last local day, not with the day in UTC.
func TestPermitEndsOnTheLocalDate(t *testing.T) {
	w := newWorld(t)
	f := answered(t, readiness.GrantForm(false, []string{"okoro", "vance"}, "vance", w.now), map[string][]string{"second": {"okoro"}})
	e := w.add(readiness.PermitBody("2027-03-20", nil, nil, "", "none", f), "vance")
	w.add(readiness.Countersign(w.log.Record.Grant(e.Index).Ref), "okoro")
	west := time.FixedZone("", -8*3600)
	assert.NotNil(t, w.log.Record.InForce(time.Date(2027, 3, 20, 23, 59, 0, 0, west)), "already the 21st in UTC")
	assert.Nil(t, w.log.Record.InForce(time.Date(2027, 3, 21, 0, 0, 1, 0, west)))
}

// A permit of a log that was handed over is not in force in the one that goes
// on from it, and is not taken for one of the same number there.
func TestPermitEndsWithItsLog(t *testing.T) {
	w := newWorld(t)
	f := answered(t, readiness.GrantForm(false, []string{"okoro", "vance"}, "vance", w.now), map[string][]string{"second": {"okoro"}})
	e := w.add(readiness.PermitBody("2027-03-20", nil, nil, "", "none", f), "vance")
	g := w.log.Record.Grant(e.Index)
	w.add(readiness.Countersign(g.Ref), "okoro")
	require.NotNil(t, w.log.Record.InForce(w.now))
	next := entry.Entry{Header: entry.Header{Origin: "hvproof/wren/other/efgh/practice", Time: w.now, Zone: "+00:00"}, Body: entry.Body{Kind: entry.HandOver}}
	w.log.Record.Apply(next, leafOf(70000), "vance")
	assert.Nil(t, w.log.Record.InForce(w.now))
	assert.Contains(t, w.log.Record.Over(g, w.now), "of the log that this one goes on from")
	assert.Nil(t, w.log.Record.Grant(e.Index))
}

func TestFailedIsolationCannotBeForced(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.run(reqs[4].Today, []string{"whole"}, nil)
	w.run(reqs[5].Today, []string{"cabin.left_plus.opens"}, nil)
	w.run(reqs[3].Today, []string{"ramp"}, nil)
	why := readiness.Unforceable(w.proofs(reqs))
	require.Len(t, why, 2)
	assert.Contains(t, why[0], "isolation_whole")
	assert.Contains(t, why[1], "emergency_off")
}

func TestItems(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	open := func() int { return len(readiness.OpenItems(w.log)) }
	e := w.add(readiness.AddBody("cover", "cover off", "power", nil), "mills")
	require.Equal(t, 1, open())
	i := readiness.OpenItems(w.log)[0]
	assert.Equal(t, fmt.Sprintf("i%d", e.Index), i.ID())
	f := answered(t, readiness.CloseForm(i, "mills"), map[string][]string{"text": {"fitted"}, "by": {"mills"}})
	w.add(readiness.CloseBody(i, f), "mills")
	assert.Zero(t, open())

	// A step that lets the run go on leaves an item, until it passes.
	w.run(reqs[0].Today, []string{"outside.left_plus.opens"}, nil)
	require.Equal(t, 1, open())
	assert.Contains(t, readiness.OpenItems(w.log)[0].Text, "outside.left_plus.opens: no")
	w.run(reqs[0].Today, nil, nil)
	assert.Zero(t, open())

	// A joint wants torque, tool, mark, and another person.
	w.add(readiness.AddBody(readiness.Joint, "nipped up", "power", []string{"joints.a"}), "mills")
	joint := readiness.CloseForm(readiness.OpenItems(w.log)[0], "mills")
	require.NoError(t, joint.Answer("done"))
	assert.Error(t, joint.Answer("none"), "torque")
	require.NoError(t, joint.Take([]string{"17 N·m"}))
	require.NoError(t, joint.Take([]string{"torque-2"}))
	require.NoError(t, joint.Take([]string{"yellow"}))
	require.NoError(t, joint.Take([]string{"mills"}))
	assert.ErrorContains(t, joint.Answer("mills"), "another person")
}

func TestNonconformance(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	first := func() *readiness.Nonconformance { return readiness.Nonconformances(w.log)[0] }
	w.run(reqs[3].Today, []string{"ramp"}, nil)
	require.Contains(t, first().Open, "nobody has decided")
	w.run(reqs[3].Today, nil, nil)
	assert.Contains(t, first().Open, "nobody has decided", "a value that recovered by itself does not close it")
	decide := func(kind string, more map[string][]string) {
		answers := map[string][]string{"disposition": {kind}, "cause": {"not found"}, "checks": {"leads"}}
		for k, v := range more {
			answers[k] = v
		}
		w.add(readiness.DecideBody(first(), answered(t, readiness.DecideForm(), answers)), "vance")
	}
	decide("use-as-is", map[string][]string{"concession": {"the scrutineer"}})
	assert.Contains(t, first().Open, "has not passed since", "a fail is never used as it is without a retest")
	decide("rework", nil)
	assert.Contains(t, first().Open, "has not passed since")
	w.run(reqs[3].Today, nil, nil)
	assert.Empty(t, first().Open)
}

func TestMeterFoundWrong(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.run(reqs[1].Today, nil, map[string]string{"left_plus.value": "95.000 Ω"})
	require.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State)
	fault := func(factor float64) {
		b := entry.Body{Kind: entry.MeterFault}
		b.Add("instrument", "meter-1")
		b.Add("text", "checked")
		if factor != 0 {
			b.AddNumber("factor", factor)
			b.AddNumber("offset", 0)
		}
		w.add(b, "mills")
	}
	fault(1.01) // it shows too much: the true values are lower, and pass
	assert.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State)
	fault(0.9) // 95 Ω shown are 105.6 Ω
	p := w.state(reqs, "contactor_function")
	assert.Equal(t, readiness.Lapsed, p.State)
	assert.Equal(t, []string{"left_plus"}, p.Owed(), "only what the error changes")
	assert.Len(t, w.log.Record.MeterFaults()[1].Touched(w.log), 3)
	w.run(reqs[1].Today, nil, nil)
	assert.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State)
	fault(0)
	assert.Equal(t, readiness.Lapsed, w.state(reqs, "contactor_function").State, "the error is not known: to be judged")
	// An error that no meter has is none to judge again with, whoever signed it: by
	// a factor of -1 or 1e9 every reading would meet "at most".
	for _, nonsense := range []float64{-1, -0.9, 0.09, 10.1, 1e9} {
		w.run(reqs[1].Today, nil, nil)
		require.Equal(t, readiness.Holds, w.state(reqs, "contactor_function").State)
		fault(nonsense)
		assert.Equal(t, readiness.Lapsed, w.state(reqs, "contactor_function").State, nonsense)
	}
}

func TestFallingAndOutliers(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.run(reqs[3].Today, nil, map[string]string{"ramp": "50.000 Ω"})
	w.now = w.now.AddDate(0, 0, 100)
	w.run(reqs[3].Today, nil, map[string]string{"ramp": "50.400 Ω"})
	_, falls := readiness.Trends(w.log)[0].Falls()
	assert.False(t, falls, "within what the meters leave open")
	w.now = w.now.AddDate(0, 0, 100)
	w.run(reqs[3].Today, nil, map[string]string{"ramp": "70.000 Ω"})
	f, falls := readiness.Trends(w.log)[0].Falls()
	require.True(t, falls)
	// 20 Ω in 200 days, U of both combined about 1 Ω; 30 Ω are left: 300 days
	// without any uncertainty (by hand).
	hand := f.To.Time.AddDate(0, 0, 300)
	assert.True(t, f.Earliest.Before(hand) && f.Earliest.After(f.To.Time.AddDate(0, 0, 240)), f.Earliest)
	assert.True(t, f.Latest.After(hand) && f.Latest.Before(f.To.Time.AddDate(0, 0, 360)), f.Latest)
	assert.Contains(t, f.Sentence(), "on its way to it")
	assert.Equal(t, "▁▁█", f.Sparkline())

	big := car{[]string{"a", "b", "c", "d", "e", "f"}, []string{"cabin"}}
	w = newWorld(t)
	w.run(big.requirements()[1].Today, nil, map[string]string{"a.value": "10.10 Ω", "b.value": "9.90 Ω", "c.value": "10.05 Ω", "d.value": "10.00 Ω", "e.value": "9.95 Ω", "f.value": "31.00 Ω"})
	out := readiness.Outliers(readiness.Trends(w.log))
	require.Len(t, out, 1)
	assert.Equal(t, "f.value", out[0].Path)
}

// Insulation halves for every 10 K (rule of thumb, common practice, no source).
func TestInsulationAtAnotherTemperature(t *testing.T) {
	p := readiness.Point{Value: 8e6, Kelvin: 283.15}
	s := joined("drive")
	got, ok := p.At(&s, 303.15)
	require.True(t, ok)
	assert.InEpsilon(t, 2e6, got, 1e-9)
	other := ohms("ramp", "x", nil)
	_, ok = p.At(&other, 303.15)
	assert.False(t, ok, "not insulation")
	p.Kelvin = 0
	_, ok = p.At(&s, 303.15)
	assert.False(t, ok, "the temperature was not asked for")
}

// A shorter holds_for reaches back, a longer one does not.
func TestHoldsForChanged(t *testing.T) {
	w, reqs := newWorld(t), wren.requirements()
	w.run(reqs[2].Today, nil, nil)
	w.now = w.now.AddDate(0, 0, 60)
	with := func(days int) readiness.State {
		p := *reqs[2].Today
		p.Proves = append(p.Proves[:0:0], p.Proves...)
		p.Proves[0].HoldsDays = days
		r := reqs[2]
		r.Today = &p
		return readiness.Proofs(w.log, []readiness.Requirement{r}, w.now)[0].State
	}
	assert.Equal(t, readiness.Lapsed, with(90))
	w.now = w.now.AddDate(0, 0, -30)
	assert.Equal(t, readiness.Holds, with(50))
	assert.Equal(t, readiness.Lapsed, with(20))
	assert.Equal(t, readiness.Holds, with(0))
}
