package report_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/plan"
	"hvproof/internal/report"
	"hvproof/internal/report/text"
	"hvproof/internal/run"
)

var update = flag.Bool("update", false, "write the pages in testdata anew")

// The pages, each from a log made here.
var pages = map[string]func(t *testing.T) *report.Report{
	"passed":      passed,
	"failed":      failed,
	"interrupted": interrupted,
	"awaiting":    awaiting,
	"practice":    practice,
	"rehearsal":   rehearsal,
	"repeated":    repeated,
	"faults":      faults,
	"car":         car,
	"short":       func(t *testing.T) *report.Report { return carWhole(t).short() },
	"troubled":    func(t *testing.T) *report.Report { return troubled(t).short() },
	"waveform":    waveform,
}

func passed(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(wholePlan(false), func(st *run.Start) {
		st.Others = []string{"d.vance safety watch"}
		st.Workshop, st.Customer, st.Place = "Osier Lane Workshop, 3 Osier Lane", "the car's owner", "bay 2"
	})
	s.throughWhole("")
	require.Equal(t, run.Passed, s.m.Outcome())
	return report.Run(s.m, s.source())
}

// failed: an isolation that fails three times, is left failed, made safe and
// signed out.
func failed(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(wholePlan(false))
	s.throughWhole("part")
	s.say("part", "0.045 M")
	s.give("part:again", run.Answer{Again: true, Reason: "clip sat on paint"})
	s.say("part", "0.205 M")
	s.give("part:again", run.Answer{Again: true, Reason: "cable wiped dry", Cause: "water in the plug"})
	s.say("part", "0.051 M")
	s.give("part:again", run.Answer{Decline: true, Reason: "cable is chafed under the seat"})
	s.say("tools", "counted")
	require.Equal(t, run.Failed, s.m.Outcome())
	return report.Run(s.m, s.source())
}

// interrupted: made safe in the middle, taken up again, and not finished.
func interrupted(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(wholePlan(false))
	s.throughWhole("vb")
	s.give("vb", run.Answer{MakeSafe: true, Reason: "smell of burning, none found"})
	s.say("resume:state", "packs: in")
	s.say("vb:caution", "understood")
	s.say("vb", "362.2 V")
	return report.Run(s.m, s.source())
}

// awaiting: the reading is there and the witness has not signed.
func awaiting(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(wholePlan(false))
	s.throughWhole("dead:witness")
	return report.Run(s.m, s.source())
}

// practice: asked back and confirmed, taken from paper, a conditional pass
// that is accepted, and texts that try to deceive.
func practice(t *testing.T) *report.Report {
	s := newShop(t, practiceOrigin)
	p := shortPlan(true)
	p.Steps[0].ConditionalPass = true
	p.Steps[1].Text = "DC link \u202edaed\u202c, read\x1b[2J it."
	p.Files = append(p.Files, file("procedures/own_\u200bname.yaml", plan.Own))
	s.begin(p)
	s.give("part", run.Answer{Text: "0.203 M", Confirm: true, ReadAt: "2026-03-01T07:30:00Z"})
	s.give("end", run.Answer{Text: "-0.31 V", Confirm: true})
	s.say("tools", "counted")
	src := s.source()
	src.Remarks = []report.Remark{
		{Entry: 0, Code: "set-clock", Sentence: "8 entries, from 0 to 7, were made with a clock that was set by hand"},
		{Entry: 5, Code: "input-changed", Sentence: "run k3f9-5 against run k3f9-1: a was 1 and is 2", Run: s.m.ID()},
		{Entry: 5, Code: "input-changed", Sentence: "run k3f9-5 against run k3f9-1: b was 3 and is 4", Run: s.m.ID()},
		{Entry: 1, Code: "repeated-run", Sentence: "another run", Run: "k3f9-1"},
	}
	return report.Run(s.m, src)
}

func rehearsal(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(shortPlan(false), func(st *run.Start) { st.Rehearsal = true })
	s.say("part", "45.4 M")
	s.say("end", "0.31 V")
	s.say("tools", "counted")
	return report.Run(s.m, s.source())
}

// repeated: the computed value fails, its readings are reopened, and the run
// is left before all are read again.
func repeated(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(wholePlan(false))
	s.throughWhole("v1x")
	s.say("v1x", "200.1 V")
	s.say("at", "negative")
	s.give("weaker:again", run.Answer{Again: true, Reason: "the resistor was not clipped on"})
	s.say("vb", "362.2 V")
	s.say("v1", "336.8 V")
	return report.Run(s.m, s.source())
}

// faults: the entries say passed, and the log does not verify.
func faults(t *testing.T) *report.Report {
	s := newShop(t, ledgertest.Origin)
	s.begin(shortPlan(false))
	s.say("part", "45.4 M")
	s.say("end", "0.31 V")
	s.say("tools", "counted")
	src := s.source()
	src.Faults = []report.Remark{{Entry: 6, Code: "bad-signature", Sentence: "the signature does not belong to text and key"}}
	return report.Run(s.m, src)
}

func car(t *testing.T) *report.Report { return carWhole(t).long() }

func TestPages(t *testing.T) {
	for name, build := range pages {
		t.Run(name, func(t *testing.T) {
			r := build(t)
			var b bytes.Buffer
			require.NoError(t, text.Write(&b, r))
			checkPages(t, r, b.String())
			golden := filepath.Join("testdata", name+".txt")
			if *update {
				require.NoError(t, os.WriteFile(golden, b.Bytes(), 0o644))
			}
			want, err := os.ReadFile(golden)
			require.NoError(t, err, "make it with: go test ./internal/report -update, and read it")
			assert.Equal(t, string(want), b.String())
		})
	}
	left, err := filepath.Glob("testdata/*.txt")
	require.NoError(t, err)
	assert.Len(t, left, len(pages), "pages that no test makes, or the reverse")
}

var reads = regexp.MustCompile(`\bsafe\b`)

// checkPages holds what every report must be: pages of A4, marked, in plain
// characters, and never calling anything safe.
func checkPages(t *testing.T, r *report.Report, out string) {
	t.Helper()
	all := strings.Split(out, "\f")
	for _, page := range all {
		lines := strings.Split(strings.TrimSuffix(page, "\n"), "\n")
		assert.Len(t, lines, text.Lines)
		for _, l := range lines {
			assert.LessOrEqual(t, utf8.RuneCountInString(l), text.Width, "%q", l)
			assert.NotRegexp(t, `[\x00-\x1f\x7f\x{200b}-\x{200f}\x{202a}-\x{202e}]`, l)
			assert.Equal(t, strings.TrimRight(l, " "), l, "no spaces at the end")
		}
		if r.Mark != "" {
			assert.Equal(t, r.Mark, lines[0])
			assert.Equal(t, r.Mark, lines[len(lines)-1])
		}
	}
	for _, l := range strings.Split(out, "\n") {
		if reads.MatchString(strings.ToLower(l)) {
			assert.Regexp(t, `(?i)ma[kd]e (the car )?safe`, l)
		}
	}
}

// A mark is on everything that is no evidence, and nothing of it reads as a
// plain pass.
func TestMarksAndResults(t *testing.T) {
	for name, want := range map[string]struct{ mark, word string }{
		"passed":      {"", "PASSED"},
		"failed":      {"", "FAILED"},
		"interrupted": {"", "NOT FINISHED"},
		"awaiting":    {"", "NOT FINISHED"},
		"repeated":    {"", "NOT FINISHED"},
		"practice":    {"PRACTICE - never evidence", "PASSED, CONDITIONALLY"},
		"rehearsal":   {"REHEARSAL - never evidence", "PASSED, BUT PROVES NOTHING"},
		"faults":      {"THE RECORD DOES NOT VERIFY - see page one", "DOES NOT VERIFY"},
		"car":         {"", "POWER MAY NOT COME ON"},
		"waveform":    {"", "PASSED"},
		"short":       {"", "POWER MAY NOT COME ON"},
		"troubled":    {"PRACTICE - never evidence", "POWER MAY NOT COME ON"},
	} {
		r := pages[name](t)
		assert.Equal(t, want.mark, r.Mark, name)
		assert.Equal(t, want.word, r.Parts[0].Sections[0].Blocks[0].(report.Result).Word, name)
	}
}
