package main

import (
	"cmp"
	"context"
	"slices"

	"hvproof/internal/audit"
	"hvproof/internal/bundle"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/internal/report"
	"hvproof/internal/report/html"
)

// addMade adds what the program says of a record: every fault that it finds in
// it, waveforms included, the remarks of its audit, and the waveforms drawn. Of
// a record that is not whole there are only the faults: nothing else is shown.
func addMade(ctx context.Context, p *html.Page, b *bundle.Bundle) error {
	blob := func(d [32]byte) ([]byte, error) { return b.Blob(ctx, d) }
	watch, record := audit.New(blob), readiness.NewRecord()
	src := &source{Storage: b}
	origins, before := oldestFirst(ctx, src, b.Logs)
	var reports []ledger.Report
	add := func(origin string, found ...ledger.Finding) {
		for _, f := range found {
			p.Faults = append(p.Faults, html.Remark{Log: origin, Entry: f.Entry, Code: string(f.Code), Sentence: f.Sentence})
		}
	}
	for _, origin := range origins {
		r, err := ledger.Verify(ctx, b, origin, ledger.VerifyOptions{Observer: func(index int64, e entry.Entry, signer string, raw []byte) {
			watch.Observe(index, e, signer, raw)
			record.Apply(e, ledger.Leaf(raw), signer)
			if e.Kind == entry.Capture {
				p.Waveforms++
			}
		}})
		if err != nil {
			return err
		}
		reports = append(reports, r)
		add(origin, r.Faults...)
		if from, ok := before[origin]; ok {
			wrong, err := from.Check(ctx, b)
			if err != nil {
				return err
			}
			add(origin, wrong...)
		}
	}
	for _, f := range b.Check(reports) {
		add(f.Origin, f.Finding)
	}
	whole := len(p.Faults) == 0
	var remarks []report.Remark
	for _, r := range watch.Remarks() {
		if r.Code == audit.RefutedDecision {
			add(r.Log, ledger.Finding{Entry: r.Entry, Code: ledger.Code(r.Code), Sentence: r.Sentence})
			continue
		}
		remarks = append(remarks, report.Remark{Log: r.Log, Entry: r.Entry, Code: r.Code, Sentence: r.Sentence})
	}
	// The same record gives the same page.
	slices.SortFunc(p.Faults, func(x, y html.Remark) int {
		return cmp.Or(cmp.Compare(x.Log, y.Log), cmp.Compare(x.Entry, y.Entry), cmp.Compare(x.Code, y.Code), cmp.Compare(x.Sentence, y.Sentence))
	})
	if !whole {
		return nil
	}
	for _, r := range report.Grouped(remarks) {
		p.Remarks = append(p.Remarks, html.Remark{Log: r.Log, Entry: r.Entry, Code: r.Code, Sentence: r.Sentence})
	}
	p.Open = report.OpenIn(readiness.Log{Runs: watch.History(), Record: record})
	for _, m := range watch.History().Runs() {
		origin := m.Events()[0].Origin
		for _, step := range m.Steps() {
			for i := range step.Attempts {
				a := &step.Attempts[i]
				if a.Body.Kind != entry.Capture {
					continue
				}
				chart, words := report.Figure(m, step.Step, a, blob)
				p.Figures = append(p.Figures, html.Figure{Log: origin, Entry: a.Index, File: a.Body.Text("file"), Chart: chart, Words: words})
			}
		}
	}
	return nil
}

// notIn gives the faults of the car folder's log that are not among those found
// in what was packed of it: against what this device remembers, in the database,
// in files that were left out.
func (s *session) notIn(found []html.Remark) []html.Remark {
	var out []html.Remark
	for _, f := range s.faults {
		if !slices.ContainsFunc(found, func(r html.Remark) bool { return r.Entry == f.Entry && r.Code == string(f.Code) }) {
			out = append(out, html.Remark{Log: s.origin, Entry: f.Entry, Code: string(f.Code), Sentence: f.Sentence})
		}
	}
	return out
}
