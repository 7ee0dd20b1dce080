package main

import (
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/audit"
	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/internal/report"
	"hvproof/internal/report/pdf"
	"hvproof/internal/report/text"
	"hvproof/internal/run"
)

// reportFlags say what a report is about and where it goes.
type reportFlags struct {
	text, pdf, html, issued string
	car, short              bool
}

// What a report is about, beside the id of a run.
const (
	wholeCar = "car"
	shortCar = "car-short" // the same by proof, with the values alone
)

// about reads what a report is to be about.
func (f reportFlags) about(args []string) (string, error) {
	switch id := strings.Join(args, ""); {
	case f.short && id != "":
		return "", diag.Bad("leave --short out: the report of one run is short enough, or leave the run out", "--short is a form of the report of the whole car, not of run %s", id)
	case f.car && id != "":
		return "", diag.Bad("name a run, or take --car", "--car is the report of the whole car, not of run %s", id)
	case f.short && f.html != "":
		return "", diag.Bad("take --short with --pdf or -o, and --html without it", "--short has no page: a page carries and verifies the whole record, which nothing can be left out of")
	case f.short:
		return shortCar, nil
	case id == "":
		return wholeCar, nil
	default:
		return id, nil
	}
}

// isCar reports whether a report is about the whole car, in whichever form.
func isCar(about string) bool { return about == wholeCar || about == shortCar }

func newReportCommand(a *app) *cobra.Command {
	var f reportFlags
	cmd := &cobra.Command{
		Use:   "report [RUN]",
		Short: "a test report on paper: of a run, or of the whole car",
		Long: `Prints a test report of a run as plain text, or with --pdf as PDF, for A4: the
result, which record it is, forced permits, what needs a look, the remarks of the
audit, open items, every step with every attempt, limits with formula and source,
waveforms drawn from the files that the record keeps, instruments, people, and how
to check it all against the log. The PDF is tagged, so that it can be read aloud.

Without RUN, or with --car, it is about the whole car: every proof with its state,
then the runs that the proofs rest on, step by step, on hundreds of sheets. With
--short it has, proof by proof, every value that the proof rests on with limit,
decision and meter, every attempt, and all that stands against it; then work,
nonconformances and permits: some twenty sheets, for whoever checks the car. Page
one says what it leaves out. Text and PDF alone have that form.

Limits and readings are printed as the log has them, never from today's files.
Workshop, customer and place are those of vehicle.yaml (report) as the run began.
With --html it is a page that carries the whole record and verifies it in the
browser, of which it shows RUN first; what it says comes from the verified entries.
A browser checks signatures, order and files, and analyses no waveform: faults that
were found as the page was written stand at its head, which then says DOES NOT
VERIFY. That can be cut out of a page; "hvproof verify FILE.html" looks again itself.

The log is verified first; a report of a log with faults says so on every page.
The same log and the same --issued give the same bytes: "hvproof verify FILE.html",
or FILE.pdf in the car folder or with --against BUNDLE, makes it anew and compares.

EXIT STATUS
  0 the report was made, 1 it was made and the log does not verify,
  2 there is no such run or a file is wrong`,
		Args: mostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			about, err := f.about(args)
			if err != nil {
				return err
			}
			return a.writeReport(cmd.Context(), about, f)
		},
	}
	cmd.Flags().StringVarP(&f.text, "output", "o", "", "write it as text to this file, which must not exist yet")
	cmd.Flags().StringVar(&f.pdf, "pdf", "", "write it as PDF to this file, which must not exist yet")
	cmd.Flags().StringVar(&f.html, "html", "", "write it as a page that carries the record and checks its signatures to this file, which must not exist yet")
	cmd.Flags().StringVar(&f.issued, "issued", "", "the time of issue that it states, such as 2027-03-20T09:00:00Z (default: now)")
	cmd.Flags().BoolVar(&f.car, "car", false, "of the whole car")
	cmd.Flags().BoolVar(&f.short, "short", false, "of the whole car in short, by proof: every value, and all that stands against it")
	return cmd
}

// writeReport makes a report and writes it to the files, or without any to
// standard output. With --json the document of show, or of ready, goes to
// standard output.
func (a *app) writeReport(ctx context.Context, about string, f reportFlags) error {
	s, err := a.readWhole(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if f.issued != "" {
		if s.made, err = time.Parse(time.RFC3339, f.issued); err != nil {
			return diag.Bad("write it as 2027-03-20T09:00:00Z", "--issued: %q is not a time", f.issued)
		}
	}
	s.made = s.now().Truncate(time.Second)
	src, err := s.reportSource()
	if err != nil {
		return err
	}
	r, document, err := s.makeReport(about, src)
	if err != nil {
		return err
	}
	if f.text != "" {
		if err := writeNew(f.text, func(w io.Writer) error { return text.Write(w, r) }); err != nil {
			return err
		}
		a.sayf("report written to %s", f.text)
	}
	if f.pdf != "" {
		d, err := s.pdfDocument(about, r, src)
		if err != nil {
			return err
		}
		if err := writeNew(f.pdf, func(w io.Writer) error { return pdf.Write(w, d) }); err != nil {
			return err
		}
		a.sayf("report written to %s", f.pdf)
	}
	if f.html != "" {
		id := about
		if isCar(about) {
			id = ""
		}
		if err := s.writePage(id, f.html); err != nil {
			return err
		}
	}
	if f.text == "" && f.pdf == "" && f.html == "" && !a.json {
		if err := text.Write(a.out, r); err != nil {
			return diag.Machine("", "writing the report: %v", err)
		}
	}
	if a.json {
		if err := a.document(document); err != nil {
			return err
		}
	}
	if len(src.Faults) > 0 {
		return errNo
	}
	return nil
}

// makeReport makes the report and the document that answers for it.
func (s *session) makeReport(about string, src report.Source) (*report.Report, any, error) {
	folder, problems := carfolder.Load(s.root)
	src.Names = map[string]string{}
	for _, c := range folder.Contacts {
		src.Names[c.ID] = c.Name
	}
	if !isCar(about) {
		m, err := s.findRun(about)
		if err != nil {
			return nil, nil, err
		}
		return report.Run(m, src), runJSON(m), nil
	}
	if problems.Errors() {
		return nil, nil, faultyFiles(problems)
	}
	proofs, err := s.proofs(folder.Requirements(s.practice))
	if err != nil {
		return nil, nil, err
	}
	reasons := s.unready(folder, proofs)
	document := s.readyJSON(proofs, reasons)
	if about == shortCar {
		return report.Short(s.facts(), proofs, reasons, src), document, nil
	}
	return report.Car(s.history, proofs, reasons, src), document, nil
}

// reportSource audits the log, with those that it goes on from, and gathers
// what every report says about it. Opening the session has verified them.
func (s *session) reportSource() (report.Source, error) {
	src := report.Source{Origin: s.origin, Practice: s.practice, Entries: s.entries,
		People: s.people.Persons(), Issued: s.now(), Program: "hvproof " + version, Baseline: s.record.Baseline().String(),
		Blob: func(d [32]byte) ([]byte, error) { return s.book.Blob(s.ctx, d) }}
	runs := map[string]map[int64]string{}
	watch := audit.New(src.Blob)
	for _, l := range append(slices.Clone(s.before), ledger.Predecessor{Origin: s.origin, Size: s.entries}) {
		of := map[int64]string{}
		runs[l.Origin] = of
		err := ledger.Read(s.ctx, s.book, l.Origin, 0, l.Size, func(index int64, e entry.Entry, signer string, raw []byte) error {
			watch.Observe(index, e, signer, raw)
			src.Forced.Observe(e, signer)
			of[index] = e.Run
			if e.Kind == entry.RunStart {
				of[index] = run.ID(e.Origin, e.Index)
			}
			if index == 0 {
				src.Start, src.Fingerprint = e, people.Digits(sha256.Sum256(raw))
			}
			src.Newest = e
			return nil
		})
		if err != nil {
			return src, err
		}
	}
	src.Open = report.OpenIn(s.facts())
	remark := func(log string, index int64, code, sentence string) report.Remark {
		r := report.Remark{Log: log, Entry: index, Code: code, Sentence: sentence, Run: runs[log][index]}
		if log == s.origin {
			r.Log = ""
		}
		return r
	}
	for _, f := range s.faults {
		src.Faults = append(src.Faults, remark("", f.Entry, string(f.Code), f.Sentence))
	}
	for _, r := range watch.Remarks() {
		if r.Code == audit.RefutedDecision {
			src.Faults = append(src.Faults, remark(r.Log, r.Entry, r.Code, r.Sentence))
			continue
		}
		src.Remarks = append(src.Remarks, remark(r.Log, r.Entry, r.Code, r.Sentence))
	}
	if s.limit > 0 {
		return src, nil // of an earlier time: whoever set the limit knows it
	}
	var err error
	src.Checkpoint, err = s.book.Checkpoint(s.ctx, s.origin)
	return src, err
}

// writeNew writes a file that must not exist yet, so that no record is lost
// by a slip; what was begun and not finished is taken away again.
func writeNew(name string, write func(io.Writer) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	switch {
	case errors.Is(err, fs.ErrExist):
		return diag.Bad("name another file, or take it away first", "%s exists already", name)
	case errors.Is(err, fs.ErrNotExist):
		return diag.Bad("make its folder first", "%s cannot be made: %v", name, err)
	case err != nil:
		return diag.Machine("", "%v", err)
	}
	if err := errors.Join(write(f), f.Sync(), f.Close()); err != nil {
		return diag.Machine("", "writing %s: %v", name, errors.Join(err, os.Remove(name)))
	}
	return nil
}
