package run

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// A step that no meter at hand can count for keeps the run from beginning,
// unless it does not apply or the procedure only marks such readings.
func TestRefusalsBeforeTheRun(t *testing.T) {
	lapsed := "its calibration held until 2027-06-30; the reading is of 2027-07-01 and cannot count"
	refused := func(change func(p *plan.Plan)) []string {
		p := testPlan()
		change(p)
		s := testStart(p)
		s.Date = "2027-07-01"
		return s.Refusals()
	}
	assert.Equal(t, []string{"dead: meter-1: " + lapsed}, refused(func(*plan.Plan) {}), "said once, at the first step")
	each := func(do func(*plan.Step)) func(*plan.Plan) {
		return func(p *plan.Plan) {
			for i := range p.Steps {
				if p.Steps[i].Role == "voltmeter" {
					do(&p.Steps[i])
				}
			}
		}
	}
	assert.Empty(t, refused(each(func(s *plan.Step) { s.UnfitMeter = plan.MarkMeter })))
	assert.Empty(t, refused(each(func(s *plan.Step) { s.NotApplicable = "the car has none" })))
}

// The category and the highest voltage of a meter count wherever it touches
// HV: for every reading of volts, for a tester that makes its own, and for
// all that is read in a live procedure.
func TestMeterForHighVoltage(t *testing.T) {
	for _, c := range []struct {
		name    string
		live    bool
		steps   []plan.Step
		meter   int
		refused bool
	}{
		{"volts with the car dead", false, []plan.Step{volts("v")}, 0, true},
		{"a tester that makes its own voltage", false, []plan.Step{megohms("iso")}, 1, true},
		{"ohms in a live procedure", true, []plan.Step{{Path: "r", Kind: plan.Measure, Dim: quantity.Ohm, Role: "voltmeter", UnfitMeter: plan.RefuseMeter}}, 0, true},
		{"ohms with the car dead", false, []plan.Step{{Path: "r", Kind: plan.Measure, Dim: quantity.Ohm, Role: "voltmeter", UnfitMeter: plan.RefuseMeter}}, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := testPlan()
			p.Live, p.Steps = c.live, c.steps
			s := testStart(p)
			assert.Empty(t, s.Refusals(), "with CAT III 1000 V")
			s.Meters[c.meter].Category = "CAT II"
			if got := s.Refusals(); c.refused {
				require.Len(t, got, 1)
				assert.Contains(t, got[0], "CAT II")
			} else {
				assert.Empty(t, got)
			}
		})
	}
}

// A prefix slip of milli for mega lies nine decades off; a factor of a
// thousand is asked back, and not a little less.
func TestDecadesOff(t *testing.T) {
	bound := func(k quantity.BoundKind, low, high float64) Prompt {
		return Prompt{Step: &plan.Step{Bounds: []plan.Bound{{ID: "x", Governs: true, Bound: quantity.Bound{Kind: k, Low: low, High: high, Dim: quantity.Ohm}}}}}
	}
	for _, c := range []struct {
		name string
		p    Prompt
		x    float64
		want bool
	}{
		{"milli for mega", bound(quantity.AtLeast, isolation, 0), 45.4e-3, true},
		{"just above a thousandth", bound(quantity.AtLeast, isolation, 0), 201.7, false},
		{"above the limit", bound(quantity.AtLeast, isolation, 0), 45.4e6, false},
		{"far above is no slip here", bound(quantity.AtLeast, isolation, 0), 1e12, false},
		{"mega for milli", bound(quantity.AtMost, 0, 0.1), 18.2e6, true},
		{"below a thousandfold", bound(quantity.AtMost, 0, 0.1), 99, false},
		{"negative and far", bound(quantity.MagnitudeAtMost, 0, 60), -362.4e3, true},
		{"between, far below", bound(quantity.Between, 15, 19), 0.0149, true},
		{"between, far above", bound(quantity.Between, 15, 19), 19001, true},
		{"between, outside only", bound(quantity.Between, 15, 19), 5, false},
	} {
		far, limit := decadesOff(c.p, c.x)
		assert.Equal(t, c.want, far, c.name)
		assert.Equal(t, c.want, limit != "", c.name)
	}
}

// What the meter's range gave stands in the record, on the lowest range as on
// the highest.
func TestRangeIsRecorded(t *testing.T) {
	for _, c := range []struct{ typed, digit, reach string }{
		{"1.204 V", "0.001", "to 6 V"}, {"12.04 V", "0.01", "to 60 V"}, {"362.4 V", "0.1", "to 600 V"},
	} {
		p := testPlan()
		p.Ambient, p.Live, p.Cautions, p.Steps = false, false, nil, []plan.Step{volts("v"), p.Steps[p.SignOut]}
		p.SignOut = 1
		b := newBench(t, testStart(p))
		b.ok("v", c.typed)
		last := b.entries[len(b.entries)-1].e
		require.Equal(t, entry.Reading, last.Kind)
		assert.Equal(t, c.digit, last.Text("digit"), c.typed)
		assert.Equal(t, c.reach, last.Text("range"), c.typed)
	}
}

// The wait is over when its time has passed, to the second, and not before.
func TestWaitIsOver(t *testing.T) {
	p := testPlan()
	p.Ambient, p.Live, p.Cautions = false, false, nil
	p.Steps = []plan.Step{{Path: "rest", Kind: plan.Wait, Text: "wait", Seconds: 300, IfFailed: plan.Stop}, p.Steps[p.SignOut]}
	p.SignOut = 1
	b := newBench(t, testStart(p))
	for _, early := range []string{"299.9 s", "<300 s", "OL", "4 min 59 s"} {
		var r *Refused
		require.ErrorAs(t, b.give("rest", Answer{Text: early}), &r, early)
	}
	b.ok("rest", "300 s")
}

// After an interruption of a live run the car must be in the state that the
// next step needs; of one that is not live, what is seen is noted.
func TestStateAfterAnInterruption(t *testing.T) {
	for _, live := range []bool{true, false} {
		p := testPlan()
		p.Live = live
		b := newBench(t, testStart(p))
		b.begin()
		b.ok("covers", "on")
		b.m.Interrupted()
		require.Equal(t, AskResume, b.m.Next().Kind)
		var r *Refused
		err := b.give("resume:state", Answer{Text: "packs: out"})
		if live {
			require.True(t, errors.As(err, &r), "a live run goes on in its own state only")
			assert.Contains(t, r.Message, `this step needs "in"`)
			b.ok("resume:state", "packs: in")
		} else {
			require.NoError(t, err)
			assert.Empty(t, b.entries[len(b.entries)-1].e.Family("state"), "only what was found as it must be is recorded as such")
		}
	}
	assert.Equal(t, "what you see", stateWords(nil))
}

// The open run is the newest that nobody closed or replaced, be it the only one.
func TestOpenRun(t *testing.T) {
	h := &History{byID: map[string]*Machine{}}
	assert.Nil(t, h.Open())
	first, second := New("abcdefgh-1", testStart(testPlan())), New("abcdefgh-2", testStart(testPlan()))
	h.runs = []*Machine{first}
	assert.Same(t, first, h.Open())
	h.runs = []*Machine{first, second}
	assert.Same(t, second, h.Open())
	second.abandoned = true
	assert.Same(t, first, h.Open())
	first.ended = Passed
	assert.Nil(t, h.Open())
}

// An entry that cannot be breaks its own run, and the run proves nothing.
func TestABrokenRunStaysBroken(t *testing.T) {
	m := New("abcdefgh-1", testStart(testPlan()))
	h := &History{runs: []*Machine{m}, byID: map[string]*Machine{m.ID(): m}}
	e := entry.Entry{Header: entry.Header{Index: 9, Time: time.Unix(0, 0)}, Body: entry.Body{Kind: entry.Reading, Run: m.ID(), Path: "no.such.step"}}
	require.Error(t, h.Apply(e, [32]byte{}, "op"))
	assert.Error(t, m.Broken())
}
