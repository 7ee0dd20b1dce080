package report_test

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/plan"
	"hvproof/internal/readiness"
	"hvproof/internal/report"
	"hvproof/internal/report/text"
	"hvproof/internal/run"
)

// A whole is what the reports of a whole car are made from.
type whole struct {
	log     readiness.Log
	proofs  []readiness.Proof
	reasons []string
	src     report.Source
}

func (w whole) long() *report.Report  { return report.Car(w.log.Runs, w.proofs, w.reasons, w.src) }
func (w whole) short() *report.Report { return report.Short(w.log, w.proofs, w.reasons, w.src) }

func (s *shop) whole(reqs []readiness.Requirement, reasons ...string) whole {
	l := readiness.Log{Runs: s.history, Record: s.record}
	return whole{l, readiness.Proofs(l, reqs, time.Date(2026, 3, 1, 18, 0, 0, 0, time.UTC)), reasons, s.source()}
}

// troubled is a car with everything that can stand against one: a run that
// failed, a waveform repeated after a repair, a conditional pass, a finding, work
// since, a proof that is void, a permit that was forced, remarks and practice.
func troubled(t *testing.T) whole {
	s := newShop(t, practiceOrigin)
	short, all, wave := shortPlan(true), wholePlan(true), wavePlan()
	short.Steps[0].ConditionalPass = true
	wave.Practice = true
	s.begin(all)
	s.throughWhole("part")
	s.say("part", "0.045 M")
	s.give("part:again", run.Answer{Again: true, Reason: "clip sat on paint"})
	s.say("part", "0.051 M")
	s.give("part:again", run.Answer{Decline: true, Reason: "cable is chafed under the seat"})
	s.say("tools", "counted")
	s.begin(short)
	s.give("part", run.Answer{Text: "0.203 M", Confirm: true, ReadAt: "2026-03-01T07:30:00Z"})
	s.give("end", run.Answer{Text: "-0.31 V", Confirm: true})
	s.say("tools", "counted")
	s.begin(wave, func(st *run.Start) { st.Instruments["scope"] = "scope-1" })
	s.give("ramp", run.Answer{Text: "captures/ramp.csv", File: ramp(0.0348)})
	s.give("ramp:again", run.Answer{Again: true, Reason: "33 Ω was fitted for 68 Ω; changed"})
	s.give("ramp", run.Answer{Text: "captures/ramp_2.csv; dc_link=link", File: ramp(0.0709)})
	s.say("tools", "counted")

	work := entry.Body{Kind: entry.Rework}
	work.Add("text", "the DC link opened")
	work.Add("work", "joint_opened")
	work.AddFamily("part", "dc_link")
	work.AddFamily("void", "isolation_parts dc_link: its leads were off")
	s.append(work, ledgertest.Mills)
	permit := entry.Body{Kind: entry.Permit}
	permit.Add("until", "2026-03-01")
	permit.AddFamily("forced", "isolation_parts is void")
	permit.Add("reason", "to the trailer")
	s.append(permit, ledgertest.Vance)

	w := s.whole([]readiness.Requirement{
		{Proof: "isolation_parts", Procedure: "isolation_parts", Stage: "A", Required: true, Today: short},
		{Proof: "precharge", Procedure: "precharge", Stage: "C", Required: true, Today: wave},
		{Proof: "isolation_whole", Procedure: "isolation_whole", Stage: "C", Required: true, Today: all},
		{Proof: "charging", Procedure: "charging", Stage: "D", Required: true, Fault: "the procedure is not in this folder"},
	}, "isolation_parts is void", "charging is missing: the procedure is not in this folder")
	w.src.Remarks = []report.Remark{{Entry: 5, Code: "repeated-run", Sentence: "run k3f9-5 passed after one that did not", Run: "k3f9-5"}}
	b := permit
	w.src.Forced.Observe(entry.Entry{Header: entry.Header{Origin: practiceOrigin, Index: 40, Zone: "+01:00"}, Body: b}, ledgertest.Vance)
	return w
}

func carWhole(t *testing.T) whole {
	s := newShop(t, ledgertest.Origin)
	short, all := shortPlan(false), wholePlan(false)
	s.begin(short)
	s.say("part", "45.4 M")
	s.say("end", "0.31 V")
	s.say("tools", "counted")
	s.begin(all, func(st *run.Start) {
		st.Workshop, st.Place, st.Date = "Osier Lane Workshop, 3 Osier Lane", "bay 2", "2026-03-02"
	})
	s.throughWhole("")
	return s.whole([]readiness.Requirement{
		{Proof: "isolation_parts", Procedure: "isolation_parts", Stage: "A", Required: true, Today: short},
		{Proof: "isolation_whole", Procedure: "isolation_whole", Stage: "C", Required: true, Today: all},
		{Proof: "charging", Procedure: "charging", Stage: "D", Required: true, Fault: "the procedure is not in this folder"},
		{Proof: "pre_event", Procedure: "pre_event", Stage: "E", Fault: "the procedure is not in this folder"},
	}, "charging is missing: the procedure is not in this folder")
}

func faulty(t *testing.T) whole {
	w := carWhole(t)
	w.src.Faults = []report.Remark{{Entry: 6, Code: "bad-signature", Sentence: "the signature does not belong to text and key"}}
	return w
}

// wholes are the cars, each as both reports.
var wholes = map[string]func(t *testing.T) whole{"car": carWhole, "troubled": troubled, "faulty": faulty}

// said gives the pages of a report as text, lines joined.
func said(t *testing.T, r *report.Report) []string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, text.Write(&b, r))
	return strings.Split(b.String(), "\f")
}

var blanks = regexp.MustCompile(`\s+`)

// TestShortHidesNothing: what stands in the summary of the whole report stands in
// that of the short one, word for word; and what stands against a run in the
// whole report stands in the short one, too.
func TestShortHidesNothing(t *testing.T) {
	for name, build := range wholes {
		w := build(t)
		long, short := w.long(), w.short()
		assert.Equal(t, long.Mark, short.Mark, name)
		have := map[string]report.Section{}
		for _, s := range short.Parts[0].Sections {
			have[s.Title] = s
		}
		for _, s := range long.Parts[0].Sections {
			if s.Title == "What follows" {
				continue
			}
			require.Contains(t, have, s.Title, name)
			for _, b := range s.Blocks {
				assert.Contains(t, have[s.Title].Blocks, b, "%s: %s", name, s.Title)
			}
		}
		first := blanks.ReplaceAllString(said(t, short)[0], " ")
		for _, want := range []string{"Test report, short form", "This is the SHORT FORM", "It leaves out:", "hvproof report.", "hvproof verify.", "Fingerprint", "The audit has "} {
			assert.Contains(t, first, want, "%s: page one", name)
		}
		var facts []report.Fact
		for _, p := range short.Parts[1:] {
			for _, s := range p.Sections {
				for _, b := range s.Blocks {
					if f, ok := b.(report.Facts); ok {
						facts = append(facts, f...)
					}
				}
			}
		}
		looked := 0
		for _, p := range long.Parts[1:] {
			for _, s := range p.Sections {
				if f, ok := s.Blocks[0].(report.Facts); ok && s.Title == "What needs a look" {
					for _, fact := range f {
						assert.Contains(t, facts, fact, "%s: %s", name, p.Title)
						looked++
					}
				}
			}
		}
		if name == "troubled" {
			assert.Greater(t, looked, 6)
			for _, want := range []string{"Forced permits", "In the way", "Remarks of the audit"} {
				assert.Contains(t, have, want)
			}
		}
		if name == "faulty" {
			assert.Contains(t, have, "Faults of the record")
		}
	}
}

// TestShortHasEveryReading: every proof that holds names the run that it rests
// on, with its people, and has every value that it rests on with its decision
// and its entry; every attempt has a row of its own.
func TestShortHasEveryReading(t *testing.T) {
	proofs, values, attempts := 0, 0, 0
	for name, build := range wholes {
		w := build(t)
		r := w.short()
		for _, p := range w.proofs {
			if p.Run == "" {
				continue
			}
			i := slices.IndexFunc(r.Parts[1].Sections, func(s report.Section) bool { return strings.Contains(s.Title, " "+p.Proof+": "+string(p.State)) })
			require.GreaterOrEqual(t, i, 0, "%s: %s", name, p.Proof)
			section := r.Parts[1].Sections[i]
			rows, words := map[string][][]string{}, ""
			for _, b := range section.Blocks {
				switch b := b.(type) {
				case report.Table:
					for _, row := range b.Rows {
						rows[row[5]] = append(rows[row[5]], row)
					}
				case report.Facts:
					for _, f := range b {
						words += f.Name + " " + strings.Join(f.Values, " ") + "\n"
					}
				}
			}
			m := w.log.Runs.Run(p.Run)
			start := m.Start()
			for _, want := range []string{p.Run, "2026-03-0", "operator R. Mills (" + start.Operator + ")", "witness S. Okoro (" + start.Witness + ")", "file ", "plan "} {
				assert.Contains(t, words, want, "%s: %s", name, p.Proof)
			}
			if p.OK() {
				proofs++
			}
			for _, s := range m.Steps() {
				for n := range s.Attempts {
					a := &s.Attempts[n]
					if a.Body.Kind != entry.Reading && a.Body.Kind != entry.Capture && (a.Body.Kind != entry.Computed || len(s.Step.Bounds) == 0) {
						continue
					}
					of := rows[fmt.Sprint(a.Index)]
					wanted := 1
					if a.Body.Kind == entry.Capture {
						wanted = len(s.Step.Found())
					}
					require.Len(t, of, wanted, "%s: %s, entry %d", name, s.Step.Path, a.Index)
					decisions := ""
					for _, row := range of {
						assert.True(t, strings.HasPrefix(row[0], s.Step.Path), row[0])
						decisions += row[3] + " "
						if a.Body.Kind != entry.Computed {
							assert.Regexp(t, `^(meter|insul|scope)-1$`, row[4])
							assert.Contains(t, words, row[4]+", serial ", "%s: its meter", s.Step.Path)
						}
						if a.HasValue {
							assert.Contains(t, row[1], " ± ")
						}
					}
					assert.Contains(t, decisions, strings.ToUpper(a.Decision), "%s: %s, entry %d", name, s.Step.Path, a.Index)
					assert.Equal(t, len(a.Findings) > 0, strings.Contains(decisions, "FINDING"), "%s, entry %d", s.Step.Path, a.Index)
					for _, b := range s.Step.Limits() {
						said := slices.ContainsFunc(of, func(row []string) bool { return strings.Contains(row[2], b.Bound.String()+" [") })
						assert.True(t, said, "%s: %s", s.Step.Path, b.Bound)
					}
					values++
					if len(s.Attempts) > 1 {
						attempts++
						assert.Contains(t, of[0][0], fmt.Sprintf(" of %d)", len(s.Attempts)))
					}
				}
			}
		}
	}
	assert.Greater(t, proofs, 3)
	assert.Greater(t, values, 20)
	assert.Greater(t, attempts, 3)
}

// TestShortLimitsLeadToTheirSource: each number behind a limit is that of the
// item that has its source.
func TestShortLimitsLeadToTheirSource(t *testing.T) {
	w := carWhole(t)
	r := w.short()
	var sources []string
	for _, s := range r.Parts[2].Sections {
		if s.Title == "Where the limits come from" {
			sources = s.Blocks[1].(report.List).Items
		}
	}
	seen := 0
	for _, s := range r.Parts[1].Sections {
		for _, b := range s.Blocks {
			table, ok := b.(report.Table)
			if !ok {
				continue
			}
			for _, row := range table.Rows {
				var n int
				_, behind, _ := strings.Cut(row[2], "[")
				if _, err := fmt.Sscanf(behind, "%d]", &n); err != nil {
					continue
				}
				switch row[0] {
				case "part":
					assert.Equal(t, "isolation_part (un-r100): UN R100, 5.1.3.1 (edition: revision 2)", sources[n-1])
					seen++
				case "leads":
					assert.Equal(t, "the procedure's own: no source stated; decided BY SIMPLE ACCEPTANCE", sources[n-1])
					seen++
				}
			}
		}
	}
	assert.Equal(t, 3, seen)
}

// TestShortOneRunForTwo: a run that proves two things shows its values once.
func TestShortOneRunForTwo(t *testing.T) {
	s := newShop(t, ledgertest.Origin)
	p := shortPlan(false)
	p.Proves = append(p.Proves, plan.Proof{ID: "both", Parts: []string{"dc_link"}})
	s.begin(p)
	s.say("part", "45.4 M")
	s.say("end", "0.31 V")
	s.say("tools", "counted")
	w := s.whole([]readiness.Requirement{{Proof: "isolation_parts", Procedure: "isolation_parts", Stage: "A", Required: true, Today: p},
		{Proof: "both", Procedure: "isolation_parts", Stage: "A", Required: true, Today: p}})
	all := blanks.ReplaceAllString(strings.Join(said(t, w.short()), " "), " ")
	assert.Contains(t, all, "POWER MAY COME ON")
	assert.Contains(t, all, "STAGE A, BOTH: HOLDS")
	assert.Contains(t, all, "the same as under isolation_parts above: one run proves both")
	assert.Equal(t, 1, strings.Count(all, "45.4 MΩ ± 1.9 MΩ"))
}
