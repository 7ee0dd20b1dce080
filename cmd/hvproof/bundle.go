package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/audit"
	"hvproof/internal/bundle"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/report/text"
)

const bundleReport = "report.txt"

func newBundleCommand(a *app) *cobra.Command {
	file := ""
	cmd := &cobra.Command{
		Use:   "bundle",
		Short: "everything that a scrutineer needs, in one file",
		Long: `Packs the logs of the car folder with all that they rest on into one file: every
signed entry, checkpoints, public keys, what entries name by SHA-256 (among it the
procedures, rules and car's data as each run used them), the files of the car
folder as they are, and the report of the whole car. It is a plain ZIP; on any other
machine "hvproof verify FILE" checks it, and "hvproof help bundle" says how to do
without hvproof. It is also the way to keep a second copy.

EXIT STATUS
  0 the bundle was made, 1 it was made and the log does not verify,
  2 there is no log or the file exists, 4 it cannot be written`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.bundle(cmd.Context(), file) },
	}
	cmd.Flags().StringVarP(&file, "output", "o", "", "write it to this file, which must not exist yet (default: named after car, log and entries)")
	return cmd
}

// bundle packs the car folder's logs.
func (a *app) bundle(ctx context.Context, file string) error {
	s, err := a.readWhole(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	c, err := s.contents(true)
	if err != nil {
		return err
	}
	if file == "" {
		o, err := entry.ParseOrigin(s.origin)
		if err != nil {
			return err
		}
		file = fmt.Sprintf("%s-%s-%d.zip", o.Car, o.Random, s.entries)
	}
	if err := writeNew(file, func(w io.Writer) error { return bundle.Write(ctx, w, c) }); err != nil {
		return err
	}
	a.sayf("bundle written to %s; elsewhere: hvproof verify %s", file, filepath.Base(file))
	if len(s.faults) > 0 {
		a.warnf("the log does not verify, and the bundle will not either: entry %d: %s", s.faults[0].Entry, s.faults[0].Sentence)
		return errNo
	}
	return nil
}

// contents gathers what goes into the bundle, with or without a report.
func (s *session) contents(withReport bool) (bundle.Contents, error) {
	s.made = s.now().UTC()
	c := bundle.Contents{Storage: s.book, Made: s.made, Program: "hvproof " + version}
	var err error
	if c.Origins, err = s.book.Origins(s.ctx); err != nil {
		return c, err
	}
	whole := false
	if c.Files, whole, err = s.carFiles(); err != nil || !withReport {
		return c, err
	}
	if !whole {
		s.app.warnf("no report of the whole car goes with it: it could not be made again without what is left out")
		return c, nil
	}
	paper, err := s.paper()
	if err != nil {
		s.app.warnf("no report of the whole car goes with it: %v", err)
		return c, nil
	}
	c.Files = append(c.Files, bundle.NamedBytes{Name: bundleReport, Data: paper})
	return c, nil
}

// carFiles reads the YAML files of the car folder; whole tells whether a bundle
// can carry all of them.
func (s *session) carFiles() (out []bundle.NamedBytes, whole bool, err error) {
	whole = true
	taken := map[string]bool{}
	for _, pattern := range []string{"*.yaml", "procedures/*.yaml", "rules/*.yaml"} {
		names, err := filepath.Glob(filepath.Join(s.root, filepath.FromSlash(pattern)))
		if err != nil {
			return nil, false, err
		}
		for _, name := range names {
			short, err := filepath.Rel(s.root, name)
			if err != nil {
				return nil, false, err
			}
			packed, ok := bundle.CarFile(filepath.ToSlash(short))
			if small := strings.ToLower(packed); ok && taken[small] {
				whole = false
				s.app.warnf("%s is left out: another file differs from it in capital letters only", short)
				continue
			} else if ok {
				taken[small] = true
			}
			if !ok {
				whole = false
				s.app.warnf("%s is left out: a bundle takes names of letters, digits, '.', '_' and '-' only", short)
				continue
			}
			data, err := os.ReadFile(name)
			if err != nil {
				return nil, false, diag.Machine("", "%v", err)
			}
			out = append(out, bundle.NamedBytes{Name: packed, Data: data})
		}
	}
	return out, whole, nil
}

// paper makes the report of the whole car as a bundle has it.
func (s *session) paper() ([]byte, error) {
	src, err := s.reportSource()
	if err != nil {
		return nil, err
	}
	r, _, err := s.makeReport(wholeCar, src)
	if err != nil {
		return nil, err
	}
	for _, f := range src.Faults {
		if f.Code == audit.RefutedDecision { // found while it was made, not by verifying
			s.faults = append(s.faults, ledger.Finding{Entry: f.Entry, Code: audit.RefutedDecision, Sentence: f.Sentence})
		}
	}
	var b bytes.Buffer
	err = text.Write(&b, r)
	return b.Bytes(), err
}

// bundleSession reads a log of a bundle as if it were that of a car folder,
// unpacked into temp.
func (a *app) bundleSession(ctx context.Context, b *bundle.Bundle, origin, temp string) (*session, error) {
	o, err := entry.ParseOrigin(origin)
	if err != nil {
		return nil, err
	}
	s := &session{app: a, ctx: ctx, root: temp, book: b, origin: origin, practice: o.Practice, made: b.Made}
	if s.before, err = s.predecessors(origin); err != nil {
		return nil, err
	}
	if err := s.fold(); err != nil {
		return nil, err
	}
	return s, s.foldBeside()
}

// unpackCar writes the files of the car folder into a new folder, to be read
// as one. Their names hold nothing but plain words: bundle.Open has seen to it.
func unpackCar(b *bundle.Bundle) (string, error) {
	temp, err := os.MkdirTemp("", "hvproof-bundle-")
	if err != nil {
		return "", diag.Machine("", "%v", err)
	}
	for _, f := range b.Files {
		name, ok := strings.CutPrefix(f.Name, "car/")
		if !ok {
			continue
		}
		data, _, err := b.File(f.Name)
		if err == nil {
			path := filepath.Join(temp, filepath.FromSlash(name))
			if err = os.MkdirAll(filepath.Dir(path), 0o700); err == nil {
				err = os.WriteFile(path, data, 0o600)
			}
		}
		if err != nil {
			return "", diag.Machine("", "unpacking %s: %v", f.Name, errors.Join(err, os.RemoveAll(temp)))
		}
	}
	return temp, nil
}

// checkReport makes the report in a bundle again. The sentence says what is
// wrong with it, the remark why it could not be compared.
func (a *app) checkReport(ctx context.Context, b *bundle.Bundle) (wrong, remark string, err error) {
	has, ok, err := b.File(bundleReport)
	switch {
	case err != nil:
		return "", "", err
	case !ok:
		return "", "there is no report in the bundle", nil
	case b.Program != "hvproof "+version:
		return "", fmt.Sprintf("the report in the bundle was made by %s, this is hvproof %s: not comparable; the record itself was verified", diag.Printable(b.Program), version), nil
	}
	temp, err := unpackCar(b)
	if err != nil {
		return "", "", err
	}
	defer os.RemoveAll(temp)
	for _, origin := range b.Logs {
		s, err := a.bundleSession(ctx, b, origin, temp)
		if err != nil {
			continue // a log that cannot be read through: no report rests on it
		}
		if again, err := s.paper(); err == nil && bytes.Equal(again, has) {
			return "", "", nil
		}
	}
	return "the report in the bundle is not the one that its record gives", "", nil
}
