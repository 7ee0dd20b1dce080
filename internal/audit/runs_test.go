package audit

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/run"
)

// observe lets an audit see the entries from an index on.
func (b *bench) observe(a *Audit, from int64) {
	b.t.Helper()
	err := ledger.Read(context.Background(), b.st, ledgertest.Origin, from, b.log.Size(), func(i int64, e entry.Entry, signer string, raw []byte) error {
		a.Observe(i, e, signer, raw)
		return nil
	})
	require.NoError(b.t, err)
}

func (b *bench) leafOf(index int64) (leaf [32]byte) {
	b.t.Helper()
	err := b.st.ReadEntries(context.Background(), ledgertest.Origin, index, index+1, func(_ int64, raw []byte) error {
		leaf = ledger.Leaf(raw)
		return nil
	})
	require.NoError(b.t, err)
	return leaf
}

// TestRemarksOnRuns does one thing amiss in a run, and expects the remarks on
// exactly that.
func TestRemarksOnRuns(t *testing.T) {
	tests := []struct {
		name, codes, says string
		do                func(*bench)
	}{
		{"repeated until it passed", "repeated-until-passed", `reading 3 of 3 gave "pass"; before it: fail, fail; reasons: the probe slipped, cause: a worn tip; the probe slipped, cause: a worn tip`,
			func(b *bench) {
				g := good()
				g["left.poles"] = read("212.0 V", "213.0 V", "362.4 V")
				b.drive(b.begin(small(), meter()), g)
			}},
		{"left failed", "repeated-step", `reading 2 of 2 gave "fail"`, func(b *bench) {
			g := good()
			g["right.poles"] = read("212.0 V", "213.0 V")
			b.drive(b.begin(small(), meter()), g)
		}},
		{"the run repeated", "repeated-run", "passed after 1 run of the procedure that did not: k3f9-5 failed (right.poles failed)", func(b *bench) {
			g := good()
			g["right.poles"] = read("212.0 V")
			b.drive(b.begin(small(), meter()), g)
			b.passed(small(), meter())
		}},
		{"abandoned before it failed", "abandoned-run repeated-run", `was replaced by run k3f9-9 before it ended; 2 of 3 steps were answered, left.poles stands at "pass", and it waited for right.poles`,
			func(b *bench) {
				g := good()
				delete(g, "right.poles")
				old := b.begin(small(), meter())
				b.drive(old, g)
				b.drive(b.begin(small(), meter(), func(s *run.Start) { s.Abandons = old.ID() }), good())
			}},
		{"never finished", "unfinished-run", "no step was answered", func(b *bench) { b.begin(small(), meter()) }},
		{"not signed out", "not-signed-out", "failed and is not signed out", func(b *bench) {
			p := small()
			p.SignOut = 2
			g := good()
			g["left.poles"] = read("212.0 V")
			delete(g, "right.poles")
			b.drive(b.begin(p, meter()), g)
		}},
		{"rehearsal", "rehearsal", "it proves nothing", func(b *bench) {
			b.drive(b.begin(small(), meter(), func(s *run.Start) { s.Rehearsal = true }), good())
		}},
		{"conditional pass accepted", "conditional-pass", "which the procedure accepts", func(b *bench) {
			p := small()
			p.Steps[1].ConditionalPass = true
			g := good()
			g["left.poles"] = read("289.0 V")
			b.drive(b.begin(p, meter()), g)
		}},
		{"asked back", "confirmed-after-asking", `"36.24 V" looked like a slip`, func(b *bench) {
			p := small()
			g := good()
			g["right.poles"] = read("36.24 V")
			p.Steps[2].Bounds[0].Low = 10
			b.drive(b.begin(p, meter()), g)
		}},
		{"read on paper", "read-on-paper", "1h0m before it was entered", func(b *bench) {
			g := good()
			at := b.now.Add(20*time.Second - time.Hour)
			g["left.poles"] = []run.Answer{{Text: "362.4 V", Confirm: true, ReadAt: at.Format(time.RFC3339)}}
			b.drive(b.begin(small(), meter()), g)
		}},
		{"late witness", "late-witness", "signed 26m", func(b *bench) {
			g := good()
			seen := g["right.poles:witness"]
			delete(g, "right.poles:witness")
			m := b.begin(small(), meter())
			b.drive(m, g)
			b.now = b.now.Add(26 * time.Minute)
			g["right.poles:witness"] = seen
			b.drive(m, g)
		}},
		{"another date", "other-date", "says that it began on 2027-03-18", func(b *bench) {
			b.drive(b.begin(small(), meter(), func(s *run.Start) { s.Date = "2027-03-18" }), good())
		}},
		{"too few people", "not-refused", "needs 3 people, and 1 are here", func(b *bench) {
			p := small()
			p.People = 3
			p.Steps[2].Witness = false
			b.drive(b.begin(p, meter(), func(s *run.Start) { s.Witness = "" }), good())
		}},
		{"ended before it was done", "impossible-run unfinished-run", "run-end, where the run waited for covers", func(b *bench) {
			m := b.begin(small(), meter())
			b.add(body(entry.RunEnd, m, "", "outcome", "passed"), ledgertest.Mills)
		}},
		{"another operator", "other-signer", "statement is signed by s.okoro, and the run names r.mills", func(b *bench) {
			m := b.begin(small(), meter())
			bodies, err := m.Answer(m.Next(), run.Answer{Text: "on"})
			require.NoError(b.t, err)
			b.add(bodies[0], ledgertest.Okoro)
			b.drive(m, good())
		}},
		{"begun by another", "other-signer", "names s.okoro as its operator and is signed by r.mills", func(b *bench) {
			s := b.begin(small(), meter()) // for its blobs
			b.drive(s, good())
			start := s.Start()
			start.Operator, start.Witness = ledgertest.Okoro, ledgertest.Vance
			raw := start.Body()
			for i, f := range raw.Fields {
				if f.Name == "plan" || f.Name == "meters" {
					raw.Fields[i].Value = b.blobOf(s, f.Name)
				}
			}
			e := b.add(raw, ledgertest.Mills)
			m := b.history.Run(run.ID(e.Origin, e.Index))
			b.drive(m, good())
		}},
		{"files as used not carried", "file-not-carried", "from run k3f9-5 (pack_voltages) on, files as used are not carried, only their SHA-256: vehicle.yaml, procedures/pack_voltages.yaml", func(b *bench) {
			none := func(s *run.Start) { s.Files = nil }
			b.drive(b.begin(small(), meter(), none), good())
			b.drive(b.begin(small(), meter(), none), good()) // said once
		}},
		{"one file as used not carried", "file-not-carried", "only their SHA-256: procedures/pack_voltages.yaml", func(b *bench) {
			b.drive(b.begin(small(), meter(), func(s *run.Start) { s.Files = s.Files[:1] }), good())
		}},
		{"a file that is not the plan's", "file-not-carried foreign-file", "vehicle.yaml", func(b *bench) {
			other, err := b.st.PutBlob(b.t.Context(), []byte("another car"))
			require.NoError(b.t, err)
			b.drive(b.begin(small(), meter(), func(s *run.Start) { s.Files[0] = other }), good())
		}},
		{"a plan that is no plan", "impossible-run", "run k3f9-5", func(b *bench) {
			sum, err := b.st.PutBlob(b.t.Context(), []byte("hello"))
			require.NoError(b.t, err)
			s := run.Start{Plan: small(), PlanHash: sum, MetersHash: sum, Operator: ledgertest.Mills, Date: "2027-03-20"}
			b.add(s.Body(), ledgertest.Mills)
		}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := newBench(t)
			test.do(b)
			remarks := b.remarks()
			assert.Equal(t, strings.Fields(test.codes), codes(remarks), "%v", remarks)
			assert.Contains(t, sentence(t, remarks, strings.Fields(test.codes)[0]), test.says)
		})
	}
}

// blobOf gives a digest out of a run's first entry.
func (b *bench) blobOf(m *run.Machine, name string) (out string) {
	b.t.Helper()
	err := ledger.Read(context.Background(), b.st, ledgertest.Origin, m.Index(), m.Index()+1, func(_ int64, e entry.Entry, _ string, _ []byte) error {
		out = e.Text(name)
		return nil
	})
	require.NoError(b.t, err)
	return out
}

// TestForged signs what a run would not have written, with good keys, and
// expects it to be seen. Each begins as a good run does.
func TestForged(t *testing.T) {
	const reading = "left.poles"
	tests := []struct {
		name, code, says string
		change           func(*entry.Body) // of the reading of left.poles
	}{
		{"a fail called pass", "other-decision", "decision is recorded as pass, and what was answered gives fail", func(b *entry.Body) {
			set(b, "text", "212.0 V")
			set(b, "value", "212")
			set(b, "u", "1.26")
		}},
		{"another value than was typed", "other-decision", "value is recorded as 390, and what was answered gives 362.4", func(b *entry.Body) { set(b, "value", "390") }},
		{"less uncertainty than the meter has", "other-decision", "u is recorded as 0.1", func(b *entry.Body) { set(b, "u", "0.1") }},
		{"one-sided", "other-decision", "bound is recorded as above", func(b *entry.Body) {
			for i, f := range b.Fields {
				if f.Name == "unit" {
					b.Fields = append(b.Fields[:i+1], append([]entry.Field{{Name: "bound", Value: "above"}}, b.Fields[i+1:]...)...)
					return
				}
			}
		}},
		{"another meter", "impossible-run", "instrument is recorded as meter-9", func(b *entry.Body) { set(b, "instrument", "meter-9") }},
		{"another step", "impossible-run", "the run would have written reading left.poles", func(b *entry.Body) { b.Path = "right.poles" }},
		{"no reading at all", "impossible-run", "it would have been refused", func(b *entry.Body) { set(b, "text", "hello") }},
		{"a second attempt that was the first", "impossible-run", "attempt is recorded as 2", func(b *entry.Body) { set(b, "attempt", "2") }},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := newBench(t)
			m := b.begin(small(), meter())
			g := good()
			delete(g, reading)
			b.drive(m, g)
			p := m.Next()
			bodies, err := m.Answer(p, run.Answer{Text: "362.4 V", At: b.now})
			require.NoError(t, err)
			test.change(&bodies[0])
			b.add(bodies[0], ledgertest.Mills)
			b.drive(m, good())
			remarks := b.remarks()
			assert.Contains(t, sentence(t, remarks, test.code), test.says)
		})
	}
}

func set(b *entry.Body, name, value string) {
	for i := range b.Fields {
		if b.Fields[i].Name == name {
			b.Fields[i].Value = value
		}
	}
}
