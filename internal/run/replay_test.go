package run

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/entry"
)

// A run that is applied again from its entries is the run itself: at every
// entry the machine asks the same next question. Whatever is answered.
func TestReplayIsTheOnlyState(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		p := testPlan()
		live := New("abcdefgh-7", testStart(p))
		b := newBench(t, testStart(p))
		b.m = live
		for range rapid.IntRange(1, 60).Draw(r, "answers") {
			prompt := live.Next()
			if prompt.Kind == Finished {
				break
			}
			bodies, err := live.Answer(prompt, drawAnswer(r, prompt))
			if err != nil {
				continue
			}
			for _, body := range bodies {
				b.commit(body, prompt.Person)
			}
			if live.resume {
				continue
			}
			again := New("abcdefgh-7", testStart(p))
			for _, rec := range b.entries {
				require.NoError(r, again.Apply(rec.e, rec.leaf, rec.signer))
			}
			want, got := live.Next(), again.Next()
			require.Equal(r, want.Kind, got.Kind)
			require.Equal(r, want.Key, got.Key)
			require.Equal(r, want.Attempt, got.Attempt)
			require.Equal(r, live.Steps(), again.Steps())
			require.Equal(r, live.Outcome(), again.Outcome())
		}
		checkOutcome(r, live)
	})
}

// checkOutcome holds a run that passed against its steps: every one of them
// must have been answered, accepted, witnessed and released.
func checkOutcome(r *rapid.T, m *Machine) {
	if m.Outcome() != Passed {
		return
	}
	for _, s := range m.Steps() {
		require.False(r, s.Failed, s.Step.Path)
		require.True(r, accepted(s.Step, s.Decision), "%s: %s", s.Step.Path, s.Decision)
		require.True(r, !s.Step.Witness || s.Last().Witness == "wi", s.Step.Path)
	}
}

// drawAnswer draws good answers mostly, and whatever else people type.
func drawAnswer(r *rapid.T, p Prompt) Answer {
	good := map[string]string{"run:ambient": "17 °C, 62 %, dry", "dead": "1.204 V", "iso": "45.4 M", "vb": "362.2 V", "v1": "336.8 V",
		"v2": "11.53 V", "v1x": "115.5 V", "at": "negative", "rest": "301 s", "tools": "counted", "covers": "on", "resume:state": "packs: in"}
	text := good[p.Key]
	switch p.Kind {
	case AskCaution:
		text = Acknowledge
	case AskState:
		text = "packs: in"
	case AskRelease:
		text = Released
	case AskWitness:
		text = Seen
	}
	a := Answer{Text: text, Confirm: rapid.Bool().Draw(r, "confirm")}
	switch rapid.IntRange(0, 9).Draw(r, "mood") {
	case 0:
		a.Text = rapid.SampledFrom([]string{"", "OL", "-3 V", "0.1 MΩ", "200 V", "off", "missing", "packs: out", ">1 GΩ", "412"}).Draw(r, "other")
	case 1:
		a.MakeSafe = rapid.Bool().Draw(r, "stop")
	}
	if p.Kind == AskAgain {
		a.Again = rapid.Bool().Draw(r, "again")
		a.Decline, a.Reason, a.Cause = !a.Again, "because", rapid.SampledFrom([]string{"", "a loose lead"}).Draw(r, "cause")
	}
	return a
}

// An entry that no run would write is refused when it is applied.
func TestImpossibleEntriesAreRefused(t *testing.T) {
	full := newBench(t, testStart(testPlan()))
	throughToTheEnd(full)
	for i, r := range full.entries {
		m := New("abcdefgh-7", testStart(testPlan()))
		var err error
		for j, o := range full.entries {
			if i == j {
				continue // left out
			}
			if err = m.Apply(o.e, o.leaf, o.signer); err != nil {
				break
			}
		}
		switch r.e.Kind {
		case entry.Ambient, entry.Caution, entry.State, entry.RunEnd:
			continue // said beside a step: their absence shows in what is asked, not in the order
		}
		if r.e.Path == "tools" {
			continue // the last step: nothing after it but the end
		}
		assert.Error(t, err, "without entry %d, %s %s", r.e.Index, r.e.Kind, r.e.Path)
	}
	m := New("abcdefgh-7", testStart(testPlan()))
	for _, r := range full.entries {
		require.NoError(t, m.Apply(r.e, r.leaf, r.signer))
	}
	last := full.entries[len(full.entries)-1]
	assert.Error(t, m.Apply(last.e, last.leaf, last.signer), "after the end")
	other := last.e
	other.Run = "abcdefgh-99"
	assert.NoError(t, m.Apply(other, last.leaf, last.signer), "of another run")
}

// An end that claims a pass before every step is done, or after a failed one.
func TestAnEndMustFit(t *testing.T) {
	full := newBench(t, testStart(testPlan()))
	throughToTheEnd(full)
	end := full.entries[len(full.entries)-1]
	require.Equal(t, entry.RunEnd, end.e.Kind)
	for n := range len(full.entries) - 1 {
		m := New("abcdefgh-7", testStart(testPlan()))
		for _, r := range full.entries[:n] {
			require.NoError(t, m.Apply(r.e, r.leaf, r.signer))
		}
		assert.Error(t, m.Apply(end.e, end.leaf, end.signer), "after %d entries", n)
		assert.NotEqual(t, Passed, m.Outcome())
	}
	b := newBench(t, testStart(testPlan()))
	b.begin()
	b.ok("covers", "off")
	require.NoError(t, b.give("covers:again", Answer{Decline: true}))
	b.ok("tools", "counted")
	assert.Error(t, b.m.Apply(end.e, end.leaf, end.signer), "a failed run ended as passed")
}
