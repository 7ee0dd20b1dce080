package report_test

import (
	"bytes"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/report"
	"hvproof/internal/report/text"
)

// certificate is what a test report must say, item by item: ISO/IEC 17025:2017,
// 7.8.2.1 a) to p) and 7.8.6.2, as read for this project; the rest is asked for
// by the practice of electrical test certificates (from memory). In which of the
// pages each must stand, and as what.
var certificate = []struct{ item, page, says string }{
	{"7.8.2.1 a) a title", "passed", `^ ?Test report: Isolation of the whole car`},
	{"7.8.2.1 b) the laboratory", "passed", `Workshop +Osier Lane Workshop, 3 Osier Lane`},
	{"7.8.2.1 b) that it is not recorded", "waveform", `Workshop +not recorded`},
	{"7.8.2.1 c) the place", "passed", `Place +bay 2`},
	{"7.8.2.1 c) that it is not recorded", "waveform", `Place +not recorded`},
	{"7.8.2.1 d) each page of this report", "passed", `Sandpiper, run k3f9-5 .*page 2 of \d+`},
	{"7.8.2.1 d) a clear end", "passed", `Here this report ends\.`},
	{"7.8.2.1 e) the customer", "passed", `Made for +the car's owner`},
	{"7.8.2.1 e) that it is not recorded", "waveform", `Made for +not recorded`},
	{"7.8.2.1 b) of all runs, where they differ", "car", `Workshop +not recorded Osier Lane Workshop, 3 Osier Lane Made for +not recorded Place +not recorded bay 2 Tested +2026-03-01 to 2026-03-02`},
	{"7.8.2.1 f) the method", "passed", `Method +joined-pole`},
	{"7.8.2.1 f) the method of a computed value", "passed", `Method +two-voltage`},
	{"7.8.2.1 g) what was tested", "passed", `Item tested +Sandpiper, in the state said at each step`},
	{"7.8.2.1 g) its state", "passed", `State said +"packs: in"`},
	{"7.8.2.1 i) when it was done", "passed", `Begun +2026-03-01 \d\d:\d\d:\d\d \+01:00, local date 2026-03-01`},
	{"7.8.2.1 j) when it was issued", "passed", `Report made +2026-03-01 18:00:00 \+01:00`},
	{"7.8.2.1 k) the sampling", "passed", `Nothing was sampled`},
	{"7.8.2.1 l) only what was tested", "passed", `The results relate only to the car and the parts named`},
	{"7.8.2.1 m) results with units", "passed", `Read +45\.4 MΩ ± 1\.9 MΩ, typed "45\.4 M"`},
	{"7.8.2.1 n) deviations: files changed", "passed", `Not shipped +1 file changed by the shop: procedures/isolation_whole\.yaml`},
	{"7.8.2.1 n) deviations: what was left out", "passed", `pyro +has\(pyro\) = false`},
	{"7.8.2.1 n) deviations: what was not done", "interrupted", `STEPS NOT DONE|Steps not done`},
	{"7.8.2.1 n) additions: what was repeated", "repeated", `Again +with weaker: repeated because: the resistor was not clipped on`},
	{"7.8.2.1 o) who authorises it", "passed", `Sign-out +closed, R\. Mills \(r\.mills\), 2026-03-01`},
	{"7.8.2.1 p) results of others", "passed", `none is recorded as the result of somebody else`},
	{"7.8.2.2 not copied but in full", "passed", `Not to be copied except in full`},
	{"7.8.6.1 the decision rule and its risk", "passed", `Guard band w = U \(ILAC-G8:09/2019, 4\.2\.3\): a pass holds for every true value within U of the reading`},
	{"7.8.6.1 another rule, and its risk", "passed", `Simple acceptance, w = 0 \(ILAC-G8:09/2019, 4\.2\.1\): the reading alone counts; right at the limit every second pass may be wrong`},
	{"7.8.6.2 a) to which result", "passed", `\[\d+ of \d+\] +part +PASS|\d+ of \d+ +part +PASS`},
	{"7.8.6.2 b) against which requirement", "passed", `Limit +at least 201\.6 kΩ \(isolation_part of rule set un-r100\)`},
	{"7.8.6.2 b) its clause", "passed", `UN R100, 5\.1\.3\.1 \(edition: revision 2\)`},
	{"7.8.6.2 c) the rule that was applied", "passed", `Decision +pass by guard band`},
	{"the limit's formula with the numbers", "passed", `= 500 Ω/V \* system\.max_voltage = 500 Ω/V \* 403\.2 V`},
	{"the instrument, serial and calibration", "passed", `Meter +insul-1, insulation tester, serial I-203, calibrated until 2026-09-15`},
	{"the instrument's date of calibration", "passed", `meter-1 +multimeter, serial M-4471, calibrated on 2025-06-30 until 2026-06-30`},
	{"what the test put on the part", "passed", `test voltage 500 V; function isolation_500`},
	{"ambient conditions", "passed", `Ambient +17 °C, 62 % relative humidity, dry`},
	{"that they were not recorded", "waveform", `Ambient +not recorded`},
	{"who did it", "passed", `Operator +R\. Mills \(r\.mills\)`},
	{"who saw it", "passed", `Witnessed +S\. Okoro \(s\.okoro\), 2026-03-01 [^,]*, entry \d+, \d+ s later`},
	{"who released it", "passed", `Released +D\. Vance \(d\.vance\), 2026-03-01`},
	{"who else was there", "passed", `Also there +D\. Vance \(d\.vance\) safety watch`},
	{"cautions", "passed", `High voltage\. DC does not let go\.`},
	{"the make-safe instruction", "passed", `Make safe +Press the emergency-off\.`},
	{"a failed reading beside the good one", "repeated", `1st of \d readings: `},
	{"open items", "passed", `(?i)open items`},
	{"an open item", "failed", `nonconformance of run k3f9-5 \(isolation_whole\)`},
	{"the file of a waveform", "waveform", `captures/ramp\.csv, SHA-256`},
	{"a waveform's marks", "waveform", `2 +main contactor closes, 250 ms`},
	{"a waveform's limits", "waveform", `95 %`},
	{"whose keys, and who let them in", "passed", `introduced by R\. Mills \(r\.mills\), from entry`},
	{"the fingerprint of entry 0", "passed", `Fingerprint +(\d{5} ){11}\d{5}`},
	{"the log before", "passed", `Predecessor +none: this log claims to be the first of this car`},
	{"the checkpoint", "passed", `hvproof/sandpiper/bench-1/k3f9\s+\d+\s+[A-Za-z0-9+/]{43}=`},
	{"how it is checked", "passed", `hvproof verify +every signature`},
	{"remarks of the audit", "passed", `(?i)remarks of the audit`},
	{"what is not proven", "passed", `Not proven: that the meter was on the right terminal`},
	{"that nothing is called without danger", "passed", `No result here says that touching anything is without danger`},
	{"that practice is none", "practice", `PRACTICE - never evidence`},
}

// holds holds the words of pages against the list. Lines are joined: where they
// break is the renderer's to say.
func holds(t *testing.T, words func(r *report.Report) string) {
	t.Helper()
	require.Greater(t, len(certificate), 50)
	made := map[string]string{}
	for _, c := range certificate {
		if _, ok := made[c.page]; !ok {
			require.Contains(t, pages, c.page)
			made[c.page] = regexp.MustCompile(`\s*\n\s*`).ReplaceAllString(words(pages[c.page](t)), " ")
		}
		assert.True(t, regexp.MustCompile(strings.ReplaceAll(c.says, " +", `\s+`)).MatchString(made[c.page]), "%s: page %s does not say %s", c.item, c.page, c.says)
	}
}

// TestPageOne: which record it is, since when, and what the audit says, stand on
// the first page of every report (design decision C), forced permits as well.
func TestPageOne(t *testing.T) {
	for name, build := range pages {
		var b bytes.Buffer
		require.NoError(t, text.Write(&b, build(t)))
		first, _, _ := strings.Cut(b.String(), "\f")
		for _, want := range []string{`>>>  [A-Z, ]+  <<<`, `The audit has `, `Fingerprint +(\d{5} ){11}\d{5}`, `Begun +2026-03-01 .* \(entry 0\)`, `Predecessor +none`} {
			assert.Regexp(t, want, first, name)
		}
	}
	s := newShop(t, ledgertest.Origin)
	s.begin(shortPlan(false))
	src := s.source()
	b := entry.Body{Kind: entry.Permit}
	b.Add("until", "2026-03-02")
	b.AddFamily("forced", "item i9 is open: cover off", "joints is missing")
	b.Add("reason", "to the trailer")
	permit := entry.Entry{Header: entry.Header{Origin: ledgertest.Origin, Index: 9, Zone: "+01:00"}, Body: b}
	src.Forced.Observe(permit, ledgertest.Vance)
	end := entry.Body{Kind: entry.PermitEnd}
	end.Add("entry", "9")
	end.Add("reason", "parked")
	src.Forced.Observe(entry.Entry{Header: entry.Header{Origin: ledgertest.Origin, Index: 12}, Body: end}, ledgertest.Vance)
	r := report.Run(s.m, src)
	assert.Equal(t, report.Section{Title: "Forced permits", Blocks: []report.Block{report.Result{Word: "FORCED PERMIT",
		Sentence: "entry 9, forced-permit: A permit to energise until 2026-03-02 was forced at 0001-01-01 01:00:00 +01:00 by d.vance, because: to the trailer. " +
			"It was forced over: item i9 is open: cover off; joints is missing. It was ended with entry 12: parked."}}}, r.Parts[0].Sections[1])
}

func TestCertificate(t *testing.T) {
	holds(t, func(r *report.Report) string {
		var b bytes.Buffer
		require.NoError(t, text.Write(&b, r))
		return b.String()
	})
}
