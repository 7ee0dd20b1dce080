package report_test

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/report"
	"hvproof/internal/report/html"
	"hvproof/internal/report/pdf"
	"hvproof/internal/run"
)

// twoHundred is a run of 200 steps, ten of them with waveforms.
func twoHundred(b *testing.B) *shop {
	p := wavePlan()
	wave, end := p.Steps[0], p.Steps[1]
	p.Steps = nil
	for i := range 189 {
		p.Steps = append(p.Steps, megohms(fmt.Sprintf("part_%d", i), "Joined poles to chassis, read it.", isolation("isolation_part")))
	}
	for i := range 10 {
		w := wave
		w.Path = fmt.Sprintf("ramp_%d", i)
		p.Steps = append(p.Steps, w)
	}
	p.Steps = append(p.Steps, end)
	p.SignOut = len(p.Steps) - 1
	s := newShop(b, ledgertest.Origin)
	s.begin(p, func(st *run.Start) { st.Instruments["scope"] = "scope-1" })
	for i := range 189 {
		s.say(fmt.Sprintf("part_%d", i), "45.4 M")
	}
	for i := range 10 {
		s.give(fmt.Sprintf("ramp_%d", i), run.Answer{Text: "captures/ramp.csv", File: ramp(0.0709 + 1e-5*float64(i))})
	}
	s.say("tools", "counted")
	require.Equal(b, run.Passed, s.m.Outcome())
	return s
}

// BenchmarkPDF and BenchmarkHTML: the report of such a run is to take less than
// two seconds, its waveforms read and fitted anew.
func BenchmarkPDF(b *testing.B) {
	s := twoHundred(b)
	src := s.source()
	for b.Loop() {
		var out bytes.Buffer
		require.NoError(b, pdf.Write(&out, pdf.Document{Report: report.Run(s.m, src), Checkpoint: src.Checkpoint, Issued: time.Unix(0, 0), Program: "hvproof test", Head: "log"}))
		b.ReportMetric(float64(out.Len()), "bytes")
	}
}

func BenchmarkHTML(b *testing.B) {
	s := twoHundred(b)
	src := s.source()
	for b.Loop() {
		page := html.Page{Version: "0.1.0"}
		for _, r := range s.m.Steps() {
			for i := range r.Attempts {
				if a := &r.Attempts[i]; a.Body.Kind == entry.Capture {
					chart, words := report.Figure(s.m, r.Step, a, src.Blob)
					require.NotNil(b, chart)
					page.Figures = append(page.Figures, html.Figure{Entry: a.Index, File: a.Body.Text("file"), Chart: chart, Words: words})
				}
			}
		}
		require.Len(b, page.Figures, 10)
		var out bytes.Buffer
		require.NoError(b, html.Write(&out, page))
		b.ReportMetric(float64(out.Len()), "bytes")
	}
}
