package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/report/pdf"
)

// A paper is a printed report that is to be held against its record.
type paper struct {
	name  string
	bytes []byte
	stamp stamp
	ok    bool // it has a stamp

	compared compared
}

// compared says what became of a report that was held against the one that
// the record gives; "" where none was named, or it came to no comparison.
type compared string

const (
	asMade        compared = "as made"        // byte for byte
	otherPage     compared = "other"          // it is another one
	notComparable compared = "not comparable" // another version of the program made it, or other files
)

// comparedWith gives the outcome for a page made by a version of the program.
func comparedWith(by, wrong string) compared {
	switch {
	case by != version:
		return notComparable
	case wrong != "":
		return otherPage
	}
	return asMade
}

// maxPaper bounds the size of a PDF that is read.
const maxPaper = 256 << 20

// openPaper reads a PDF; nil for anything else.
func (a *app) openPaper(name string) (*paper, error) {
	info, err := os.Stat(name)
	if err != nil || !info.Mode().IsRegular() {
		return nil, nil // said by who opens it next
	}
	if is, err := begins(name, "%PDF-"); err != nil || !is {
		return nil, err
	}
	if info.Size() > maxPaper {
		return nil, diag.Bad("", "%s: a PDF of %d bytes is none of hvproof's", name, info.Size())
	}
	p := &paper{name: name}
	if p.bytes, err = os.ReadFile(name); err != nil {
		return nil, diag.Machine("", "%v", err)
	}
	p.stamp, p.ok = readStamp(p.bytes)
	return p, nil
}

// check makes the report anew and compares.
func (p *paper) check(ctx context.Context, a *app, src *source, root string) ([]ledger.Finding, error) {
	fault := func(code ledger.Code, format string, args ...any) ([]ledger.Finding, error) {
		return []ledger.Finding{{Code: code, Sentence: diag.Printable(p.name) + ": " + fmt.Sprintf(format, args...)}}, nil
	}
	if !p.ok {
		return fault(ledger.MalformedEntry, "is no report as hvproof prints it")
	}
	c, err := ledger.ParseCheckpoint(p.stamp.checkpoint)
	if err != nil {
		return fault(ledger.BadCheckpoint, "the checkpoint in it: %v", err)
	}
	if src.bundle != nil {
		if root, err = unpackCar(src.bundle); err != nil {
			return nil, err
		}
		defer os.RemoveAll(root)
	} else if root, err = carfolder.At(root); err != nil {
		return nil, err
	}
	o, err := entry.ParseOrigin(c.Origin)
	if err != nil {
		return nil, err
	}
	s := &session{app: a, ctx: ctx, root: root, book: src, origin: c.Origin, practice: o.Practice, made: p.stamp.issued, limit: c.Size}
	size, err := src.Size(ctx, c.Origin)
	switch {
	case err != nil:
		return nil, err
	case size == 0:
		return fault(ledger.ForeignEntry, "it is about the log %s, which is not in this record", c.Origin)
	case size < c.Size:
		return fault(ledger.RolledBack, "it was made of %d entries, and the log has %d", c.Size, size)
	}
	if s.before, err = s.predecessors(c.Origin); err == nil {
		err = s.fold()
	}
	if err == nil {
		err = s.foldBeside()
	}
	if err != nil {
		return nil, err
	}
	was, err := ledger.Root(ctx, src, c.Origin, c.Size)
	if err != nil && !errors.Is(err, ledger.ErrNoHash) {
		return nil, err
	}
	if _, key := s.people.LogKey(); key == nil || !c.Verify(key) {
		return fault(ledger.BadCheckpoint, "its checkpoint is not signed with the log's key")
	}
	if was != c.Root {
		return fault(ledger.Diverged, "it was made of other entries than the log's first %d", c.Size)
	}
	p.compared = notComparable
	if p.stamp.version != version {
		a.sayf("%s was made by hvproof %s, this is hvproof %s: not comparable; the record itself was verified", p.name, p.stamp.version, version)
		return nil, nil
	}
	again, files, err := s.printAgain(p.stamp)
	switch {
	case err != nil:
		return fault(ledger.AlteredBlob, "it cannot be made anew: %v", err)
	case bytes.Equal(again, p.bytes):
		p.compared = asMade
	case files == p.stamp.files && s.beside > 0 && isCar(p.stamp.about):
		return fault(ledger.AlteredBlob, "cannot be compared: another log of the folder, whose work counts here, too, may have grown since it was made. "+
			"What it says was not checked")
	case files != p.stamp.files:
		return fault(ledger.AlteredBlob, "cannot be compared: %s. What it says was not checked: hold it against a bundle "+
			"of that time with --against, or make the report anew from this record and lay the two side by side", p.stamp.filesChanged())
	default:
		p.compared = otherPage
		return fault(ledger.AlteredBlob, "is not the report that the record gives: it was edited by hand")
	}
	a.sayf("%s is, byte for byte, the report that the record gives", p.name)
	return nil, nil
}

// filesChanged says which files a report was made with that are others now.
func (s stamp) filesChanged() string {
	switch {
	case s.files == "":
		return "it does not say with which files of the car folder it was made"
	case !isCar(s.about):
		return "people.yaml, which gives people their names, was another one when it was made"
	}
	return "files of the car folder, on which the state of the whole car rests, were others when it was made"
}

// printAgain makes the PDF of an earlier time, and says what its stamp would
// say of the files that it is made with now.
func (s *session) printAgain(st stamp) (raw []byte, files string, err error) {
	src, err := s.reportSource()
	if err != nil {
		return nil, "", err
	}
	src.Checkpoint = st.checkpoint
	r, _, err := s.makeReport(st.about, src)
	if err != nil {
		return nil, "", err
	}
	d, err := s.pdfDocument(st.about, r, src)
	if err != nil {
		return nil, "", err
	}
	var b bytes.Buffer
	err = pdf.Write(&b, d)
	return b.Bytes(), s.madeWith(st.about), err
}
