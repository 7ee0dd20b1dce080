package run

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// The readings of the whole car in the project's own computed table: V_b
// 362.2 V, V1 336.8 V, V2 11.53 V, V1' 115.5 V with 200 kΩ give 0.4118 MΩ.
func throughToTheEnd(b *bench) {
	b.begin()
	b.ok("covers", "on")
	b.auto()
	b.ok("go", "released")
	b.ok("dead", "1.204 V")
	b.ok("dead:witness", "seen")
	b.ok("iso", "45.4 M")
	b.ok("vb", "362.2 V")
	b.ok("v1", "336.8 V")
	b.ok("v2", "11.53 V")
	b.ok("v1x", "115.5 V")
	b.ok("at", "negative")
	b.auto()
	b.ok("rest", "301 s")
	b.ok("tools", "counted")
	b.auto()
}

func TestRunFromBeginningToEnd(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	throughToTheEnd(b)
	assert.Equal(t, Passed, b.m.Outcome())
	assert.True(t, b.m.Closed())
	assert.Equal(t, Finished, b.m.Next().Kind)
	assert.Empty(t, b.m.Findings())
	for _, s := range b.m.Steps() {
		assert.Contains(t, []string{Pass, Done}, s.Decision, s.Step.Path)
	}
	weaker := b.m.Steps()[9].Last()
	assert.InEpsilon(t, 200e3*362.2*(1/115.5-1/336.8), weaker.Value, 1e-9) // UN R100, 1.2.3.5
	assert.InEpsilon(t, 411.8e3, weaker.Value, 1e-3)                       // the table; its readings are rounded
	assert.Greater(t, weaker.U, 0.0)
}

// Who signs: the operator, but for the witness and the releaser.
func TestEntriesAreSignedByTheRightPerson(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	throughToTheEnd(b)
	for _, r := range b.entries {
		want := "op"
		switch r.e.Kind {
		case entry.Witness:
			want = "wi"
		case entry.Release:
			want = "re"
		}
		assert.Equal(t, want, r.signer, r.e.Kind)
		if r.e.Kind == entry.Witness || r.e.Kind == entry.Release {
			named := b.entries[len(b.entries)-1]
			for _, o := range b.entries {
				if entry.FormatHash(o.leaf) == r.e.Text("leaf") {
					named = o
				}
			}
			assert.Equal(t, r.e.Index-1, named.e.Index, "confirms the entry before it, by its leaf")
		}
	}
}

func TestNothingIsTickedThrough(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	refuse := func(key, text, message string) {
		t.Helper()
		var r *Refused
		require.ErrorAs(t, b.give(key, Answer{Text: text}), &r)
		assert.Contains(t, r.Message, message)
	}
	refuse("run:ambient", "", "temperature, humidity")
	refuse("run:ambient", "17, 62 %, dry", "not an air temperature")
	refuse("run:ambient", "17 °C, 62 %, damp", "neither wet nor dry")
	b.ok("run:ambient", "17 °C, 62 %, dry")
	for _, text := range []string{"", "y", "ok", "yes"} {
		refuse("covers:caution", text, "not an answer here")
	}
	b.ok("covers:caution", "Understood")
	refuse("covers:state", "", "not said")
	refuse("covers:state", "packs: out", "needs")
	refuse("covers:state", "all good here", "not said")
	b.ok("covers:state", "packs in")
	refuse("covers", "", "nothing was said")
	refuse("covers", "yes", "not one of the states")
	b.ok("covers", "on")
	b.auto()
	refuse("go", "ok", "not an answer here")
	b.ok("go", "released")
	refuse("dead", "", "")
	refuse("dead", "1.2", "no unit")
	refuse("dead", "1,2 V", "comma")
	refuse("dead", "1.2 A", "")
	refuse("dead", "NaN V", "")
	assert.Len(t, b.entries, 6, "only what was taken is recorded")
}

// A double tap: the answer to a prompt that is not waited for any more.
func TestStaleAnswerIsRefused(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	b.begin()
	p := b.m.Next()
	_, err := b.m.Answer(p, Answer{Text: "on"})
	require.NoError(t, err)
	b.ok("covers", "on")
	_, err = b.m.Answer(p, Answer{Text: "on"})
	var r *Refused
	require.ErrorAs(t, err, &r)
	assert.Contains(t, r.Message, "not waited for")
}

func TestFailEndsTheRunAndSignOutIsOwed(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	b.begin()
	b.ok("covers", "off")
	assert.Equal(t, Fail, b.decision("covers"))
	require.NoError(t, b.give("covers:again", Answer{Decline: true, Reason: "lost"}))
	assert.Equal(t, Failed, b.m.Outcome())
	assert.False(t, b.m.Closed())
	b.ok("tools", "counted")
	b.auto()
	assert.True(t, b.m.Closed())
	assert.Equal(t, Failed, b.m.Outcome())
	assert.Equal(t, "covers failed", b.m.Reason())
}

func TestMakeSafeIsRecordedBeforeSignOut(t *testing.T) {
	p := testPlan()
	p.Steps[0].IfFailed = plan.MakeSafeStop
	b := newBench(t, testStart(p))
	b.begin()
	b.ok("covers", "off")
	require.NoError(t, b.give("covers:again", Answer{Decline: true}))
	b.auto()
	last := b.entries[len(b.entries)-1].e
	assert.Equal(t, entry.MakeSafe, last.Kind)
	assert.Equal(t, []string{"Press the emergency-off."}, last.Family("action"))
	b.ok("tools", "counted")
}

func TestNoteGoesOnAndTheRunHasFailedAllTheSame(t *testing.T) {
	p := testPlan()
	p.Steps[0].IfFailed = plan.Note
	b := newBench(t, testStart(p))
	b.begin()
	b.ok("covers", "off")
	require.NoError(t, b.give("covers:again", Answer{Decline: true}))
	assert.Equal(t, Open, b.m.Outcome())
	assert.Equal(t, "go", b.m.Next().Key, "the run goes on")
	b.auto()
	b.ok("go", "released")
	b.ok("dead", "1.204 V")
	b.ok("dead:witness", "seen")
	b.ok("iso", "45.4 M")
	b.ok("vb", "362.2 V")
	b.ok("v1", "336.8 V")
	b.ok("v2", "11.53 V")
	b.ok("v1x", "115.5 V")
	b.ok("at", "negative")
	b.auto()
	b.ok("rest", "301 s")
	b.ok("tools", "counted")
	b.auto()
	assert.Equal(t, Failed, b.m.Outcome())
}

func TestThirdAttemptNeedsACause(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	b.begin()
	b.ok("covers", "off")
	require.NoError(t, b.give("covers:again", Answer{Again: true, Reason: "looked again"}))
	b.ok("covers", "off")
	var r *Refused
	require.ErrorAs(t, b.give("covers:again", Answer{Again: true, Reason: "once more"}), &r)
	assert.Contains(t, r.Message, "cause")
	require.ErrorAs(t, b.give("covers:again", Answer{}), &r, "neither again nor declined")
	require.NoError(t, b.give("covers:again", Answer{Again: true, Cause: "a cover is missing"}))
	b.ok("covers", "on")
	s := b.m.Steps()[0]
	assert.Len(t, s.Attempts, 3)
	assert.Equal(t, Done, s.Decision)
}

// A computed value that fails asks for its readings again.
func TestComputedStepIsRepeatedFromItsReadings(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	b.begin()
	b.ok("covers", "on")
	b.auto()
	b.ok("go", "released")
	b.ok("dead", "1.204 V")
	b.ok("dead:witness", "seen")
	b.ok("iso", "45.4 M")
	b.ok("vb", "362.2 V")
	b.ok("v1", "115.5 V")
	b.ok("v2", "11.53 V")
	b.ok("v1x", "336.8 V") // exchanged: V1' above V1
	b.ok("at", "negative")
	b.auto()
	assert.Equal(t, CannotDecide, b.decision("weaker"))
	assert.Equal(t, "weaker:again", b.m.Next().Key)
	require.NoError(t, b.give("weaker:again", Answer{Again: true, Reason: "two readings were exchanged"}))
	b.ok("vb", "362.2 V")
	b.ok("v1", "336.8 V")
	b.ok("v2", "11.53 V")
	b.ok("v1x", "115.5 V")
	b.ok("at", "negative")
	b.auto()
	assert.Equal(t, Pass, b.decision("weaker"))
	assert.Len(t, b.m.Steps()[5].Attempts, 2)
}

func TestStopAtAnyPromptAndStateFirstAfterwards(t *testing.T) {
	full := newBench(t, testStart(testPlan()))
	throughToTheEnd(full)
	for n := range len(full.entries) {
		b := newBench(t, testStart(testPlan()))
		for _, r := range full.entries[:n] {
			b.entries = append(b.entries, r)
			require.NoError(t, b.m.Apply(r.e, r.leaf, r.signer))
		}
		p := b.m.Next()
		bodies, err := b.m.Answer(p, Answer{MakeSafe: true, Reason: "somebody shouted stop"})
		require.NoError(t, err, p.Key)
		require.Equal(t, entry.MakeSafe, bodies[0].Kind)
		b.commit(bodies[0], "op")
		assert.Equal(t, AskResume, b.m.Next().Kind)
		assert.Equal(t, people.Operator, b.m.Next().Role)
	}
}

func TestALiveRunIsNotLeftAsItIs(t *testing.T) {
	b := newBench(t, testStart(testPlan()))
	var r *Refused
	require.ErrorAs(t, b.give("run:ambient", Answer{Leave: true}), &r)
	assert.Contains(t, r.Hint, "make safe")
}

func TestWaitIsNotShortened(t *testing.T) {
	p := testPlan()
	p.Steps, p.SignOut = p.Steps[10:], 1
	s := testStart(p)
	s.Practice = false
	b := newBench(t, s)
	b.ok("run:ambient", "17 °C, 62 %, dry")
	b.ok("rest:caution", "understood")
	b.ok("rest:state", "packs: in")
	var r *Refused
	require.ErrorAs(t, b.give("rest", Answer{Text: "200 s"}), &r)
	require.ErrorAs(t, b.give("rest", Answer{Text: ">200 s"}), &r)
	require.ErrorAs(t, b.give("rest", Answer{Text: "OL"}), &r)
	require.ErrorAs(t, b.give("rest", Answer{Text: "301 s"}), &r, "the clock has moved by 20 s only")
	assert.Contains(t, r.Message, "clock")
	p2 := b.m.Next()
	_, err := b.m.Answer(p2, Answer{Text: "301 s", At: b.now.Add(301e9)})
	require.NoError(t, err)
}

func TestReadingsOnTheWrongSideOfALimitNeverPass(t *testing.T) {
	for _, c := range []struct {
		step plan.Step
		text string
		want string
	}{
		{volts("x", magnitude("dead", 60)), "-362.4 V", Fail}, // minus sign: still live
		{volts("x", magnitude("dead", 60)), "OL", Fail},
		{volts("x", magnitude("dead", 60)), "59.99 V", ConditionalPass},
		{volts("x", magnitude("dead", 60)), "60.1 V", ConditionalFail},
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), ">400 MΩ", Pass},
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), "OL", Pass}, // above the top of the range
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), "0.213 MΩ", Pass},
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), "0.212 MΩ", ConditionalPass},
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), "0.201 MΩ", ConditionalFail},
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), "<0.1 MΩ", Fail},
		{megohms("x", atLeast("iso", isolation, quantity.Ohm)), ">0.1 MΩ", CannotDecide},
		{volts("x", window(288, 403.2, quantity.Volt)), "200.0 V", Fail}, // a window alone decides
		{volts("x", window(288, 403.2, quantity.Volt), atLeast("v", 100, quantity.Volt)), "200.0 V", Pass},
	} {
		t.Run(c.text, func(t *testing.T) {
			p := testPlan()
			p.Steps, p.SignOut = []plan.Step{c.step}, 1
			b := newBench(t, testStart(p))
			b.ok("run:ambient", "17 °C, 62 %, dry")
			b.ok("x:caution", "understood")
			require.NoError(t, b.give("x", Answer{Text: c.text, Confirm: true}))
			assert.Equal(t, c.want, b.decision("x"))
			if len(c.step.Windows()) > 0 {
				assert.NotEmpty(t, b.m.Findings(), "a missed window is a finding")
			}
		})
	}
}
