package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"hvproof/internal/audit"
	"hvproof/internal/bundle"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/internal/report"
	"hvproof/internal/report/html"
)

// writePage writes the page that carries the record and checks itself.
func (s *session) writePage(id, file string) error {
	c, err := s.contents(false)
	if err != nil {
		return err
	}
	var packed bytes.Buffer
	if err := bundle.Write(s.ctx, &packed, c); err != nil {
		return err
	}
	b, err := bundle.Open(bytes.NewReader(packed.Bytes()), int64(packed.Len()))
	if err != nil {
		return err
	}
	p := html.Page{Bundle: packed.Bytes(), Version: version, Run: id}
	addMade(s.ctx, &p, b)
	if err := writeNew(file, func(w io.Writer) error { return html.Write(w, p) }); err != nil {
		return err
	}
	s.app.sayf("report written to %s; it checks itself in a browser, hvproof verify checks it whole", file)
	return nil
}

// addMade adds what the program says of a record: the remarks of its audit,
// and its waveforms drawn. Of a log that cannot be read through there is only
// what could be read; such a page shows nothing but its faults.
func addMade(ctx context.Context, p *html.Page, b *bundle.Bundle) {
	blob := func(d [32]byte) ([]byte, error) { return b.Blob(ctx, d) }
	watch, record := audit.New(blob), readiness.NewRecord()
	origins, _ := oldestFirst(ctx, &source{Storage: b}, b.Logs)
	for _, origin := range origins {
		size, err := b.Size(ctx, origin)
		if err == nil {
			err = ledger.Read(ctx, b, origin, 0, size, func(index int64, e entry.Entry, signer string, raw []byte) error {
				watch.Observe(index, e, signer, raw)
				record.Apply(e, ledger.Leaf(raw), signer)
				return nil
			})
		}
		if err != nil {
			return
		}
	}
	var remarks []report.Remark
	for _, r := range watch.Remarks() {
		remarks = append(remarks, report.Remark{Log: r.Log, Entry: r.Entry, Code: r.Code, Sentence: r.Sentence})
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
}

// A page is an HTML report whose bundle is being verified.
type page struct {
	bytes  []byte
	made   html.Page
	bundle *bundle.Bundle
}

// maxPage bounds the size of a page that is read.
const maxPage = 1 << 30

// openPage opens the bundle in a page.
func openPage(name string, err error) (*source, error) {
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	s := &source{name: name}
	info, err := os.Stat(name)
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	if info.Size() > maxPage {
		s.rubbish = fmt.Sprintf("%s is no report: %d bytes", diag.Printable(name), info.Size())
		return s, nil
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	made, err := html.Read(data)
	if err != nil {
		s.rubbish = fmt.Sprintf("%s is no report: %v", diag.Printable(name), err)
		return s, nil
	}
	b, err := bundle.Open(bytes.NewReader(made.Bundle), int64(len(made.Bundle)))
	if bad := (*bundle.MalformedError)(nil); errors.As(err, &bad) {
		s.rubbish = fmt.Sprintf("the record in %s is none: %s", diag.Printable(name), bad.Why)
		return s, nil
	}
	if err != nil {
		return nil, err
	}
	s.bundle, s.Storage, s.page = b, b, &page{data, made, b}
	return s, nil
}

// check makes the page anew from the record in it. The sentence says what is
// wrong with it, the remark which of the two has been done.
func (p *page) check(ctx context.Context) (wrong, remark string) {
	if p.made.Version != version {
		return "", fmt.Sprintf("the page was made by hvproof %s, this is hvproof %s: not comparable; the record in it was verified", diag.Printable(p.made.Version), version)
	}
	addMade(ctx, &p.made, p.bundle)
	var again bytes.Buffer
	if err := html.Write(&again, p.made); err != nil || !bytes.Equal(again.Bytes(), p.bytes) {
		return "the page is not the one that hvproof makes of the record in it: page or script were altered", "the record in the page was verified, the page is forged"
	}
	return "", "the record in the page was verified, and the page is, byte for byte, the one that hvproof makes of it"
}
