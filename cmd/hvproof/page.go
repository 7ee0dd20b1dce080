package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"

	"hvproof/internal/bundle"
	"hvproof/internal/diag"
	"hvproof/internal/ledger"
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
	if err := addMade(s.ctx, &p, b); err != nil {
		return err
	}
	p.Elsewhere = s.notIn(p.Faults)
	if err := writeNew(file, func(w io.Writer) error { return html.Write(w, p) }); err != nil {
		return err
	}
	s.app.sayf("report written to %s; it checks itself in a browser, hvproof verify checks it whole", file)
	return nil
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
func (p *page) check(ctx context.Context) (wrong, remark string, err error) {
	if p.made.Version != version {
		return "", fmt.Sprintf("the page was made by hvproof %s, this is hvproof %s: not comparable; the record in it was verified", diag.Printable(p.made.Version), version), nil
	}
	if err := addMade(ctx, &p.made, p.bundle); err != nil {
		return "", "", err
	}
	var again bytes.Buffer
	if err := html.Write(&again, p.made); err != nil || !bytes.Equal(again.Bytes(), p.bytes) {
		return "the page is not the one that hvproof makes of the record in it: page or script were altered", "the record in the page was verified, the page is forged", nil
	}
	return "", "the record in the page was verified, and the page is, byte for byte, the one that hvproof makes of it", nil
}

// states gives the faults that the page says were known where it was written,
// and that the record in it does not tell.
func (p *page) states() []ledger.Finding {
	var out []ledger.Finding
	for _, f := range p.made.Elsewhere {
		out = append(out, ledger.Finding{Entry: f.Entry, Code: ledger.Code(f.Code),
			Sentence: "the page says that it was known where it was written: " + diag.Printable(f.Sentence)})
	}
	return out
}
