package main

import (
	"context"

	"github.com/spf13/cobra"

	"hvproof/internal/audit"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
)

// verifyFlags say what a log is held against.
type verifyFlags struct {
	against  string
	cosigner string
	evidence bool
}

func newVerifyCommand(a *app) *cobra.Command {
	var f verifyFlags
	cmd := &cobra.Command{
		Use:   "verify [FILE]",
		Short: "check that a log is whole and unchanged, and how it came about",
		Long: `Checks every signature, who might sign what, the order, the tree over all
entries, the files that entries name, and the checkpoint. FILE is a bundle, a car
folder or a copy of its hvproof.db; without it, this car folder. Of a bundle also
the keys, the cosignatures and the report in it are checked. FILE may also be an HTML
report, which carries its record: that is verified and the page made anew; or a PDF
report: it is made anew from the record, which is this car folder or what --against
names, and compared byte by byte.

Faults are of integrity, and make it not verify. Remarks are on conduct: a
repeated step, a lapsed calibration, a looser limit. They never make it fail and
never go away. Captures are read again: a pass that the waveform itself refutes is
a fault, too, in an HTML report as well, of which the browser does not find it.

A log that was cut short or rewritten whole can only be seen against something
kept elsewhere: --against takes a checkpoint in a file, an older bundle, another
car folder or another hvproof.db. With --cosigner, what it is held against must be
countersigned with that key. What this device remembers of the log is always used.

EXIT STATUS
  0 it all adds up, 1 there are faults, or the file is no log,
  2 the call is wrong or there is no such file, 4 the database cannot be read`,
		Args: mostArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			file := ""
			if len(args) == 1 {
				file = args[0]
			}
			return a.verify(cmd.Context(), file, f)
		},
	}
	cmd.Flags().StringVar(&f.against, "against", "", "hold it against this checkpoint, bundle, car folder or hvproof.db")
	cmd.Flags().StringVar(&f.cosigner, "cosigner", "", "what it is held against is countersigned with this key")
	cmd.Flags().BoolVar(&f.evidence, "evidence", false, "it is meant as evidence: practice is a fault")
	return cmd
}

type verifyDocument struct {
	OK         bool                  `json:"ok"`
	Practice   bool                  `json:"practice"`
	Entries    int64                 `json:"entries"`
	Checkpoint string                `json:"checkpoint,omitempty"`
	Faults     []conductDocument     `json:"faults"`
	Remarks    []conductDocument     `json:"remarks"`
	Logs       []logVerifiedDocument `json:"logs"`
	Page       string                `json:"page,omitempty"` // of a report: as made, other, or not comparable
}

type conductDocument struct {
	Entry    int64  `json:"entry"`
	Code     string `json:"code"`
	Sentence string `json:"sentence"`
	Log      string `json:"log,omitempty"` // where there are several
}

type logVerifiedDocument struct {
	Origin      string           `json:"origin"`
	Practice    bool             `json:"practice"`
	Entries     int64            `json:"entries"`
	Checkpoint  string           `json:"checkpoint,omitempty"`
	Fingerprint string           `json:"fingerprint,omitempty"` // of entry 0
	Remembered  bool             `json:"remembered"`            // this device remembered a checkpoint
	People      []personDocument `json:"people"`
}

// A verified is what was found out about one log.
type verified struct {
	ledger.Report
	seal       audit.Seal
	remembered bool
}

// verify answers whether a log adds up.
func (a *app) verify(ctx context.Context, file string, f verifyFlags) error {
	var err error
	if file == "" {
		if file, err = a.findFolder(); err != nil {
			return err
		}
	}
	paper, err := a.openPaper(file)
	if err != nil {
		return err
	}
	if paper != nil { // the record that it is a picture of is verified, then it is made anew
		if file, f.against = f.against, ""; file == "" {
			if file, err = a.findFolder(); err != nil {
				return err
			}
		}
	}
	src, err := openSource(file)
	if err != nil {
		return err
	}
	defer src.close()
	if src.rubbish != "" {
		return a.answerVerify(src, []verified{{Report: ledger.Report{
			Faults: []ledger.Finding{{Code: ledger.MalformedEntry, Sentence: src.rubbish}}}}}, nil, nil)
	}
	if src.store != nil {
		for _, w := range src.store.Warnings() {
			a.warnf("%s", w)
		}
	}
	origins, err := src.Origins(ctx)
	if err != nil {
		return err
	}
	if len(origins) == 0 {
		return errNoLog
	}
	against, err := openAgainst(f.against)
	if err != nil {
		return err
	}
	defer against.close()
	var all []verified
	faults := 0
	watch := audit.New(func(d [32]byte) ([]byte, error) { return src.Blob(ctx, d) })
	origins, before := oldestFirst(ctx, src, origins)
	for _, origin := range origins {
		v, err := a.verifyLog(ctx, src, origin, watch, against, f.evidence, len(origins) == 1)
		if err != nil {
			return err
		}
		if p, ok := before[origin]; ok {
			wrong, err := p.Check(ctx, src)
			if err != nil {
				return err
			}
			v.Faults = append(v.Faults, wrong...)
		}
		all = append(all, v)
		faults += len(v.Faults)
	}
	elsewhere, err := against.missing(ctx, origins)
	if err != nil {
		return err
	}
	unsigned, err := against.cosignedBy(f.cosigner)
	if err != nil {
		return err
	}
	elsewhere = append(elsewhere, unsigned...)
	if paper != nil {
		wrong, err := paper.check(ctx, a, src, file)
		if err != nil {
			return err
		}
		elsewhere = append(elsewhere, wrong...)
		src.name, src.compared = paper.name, paper.compared
	}
	if src.bundle != nil {
		beside, err := a.besideLogs(ctx, src, all)
		if err != nil {
			return err
		}
		return a.answerVerify(src, all, watch.Remarks(), append(elsewhere, beside...))
	}
	// What SQLite finds wrong says nothing that a person could act on where
	// the entries already tell what is wrong with them; alone, it is damage.
	if err := src.store.Check(ctx); err != nil {
		if faults+len(elsewhere) == 0 {
			return err
		}
		a.warnf("%v", err)
	}
	return a.answerVerify(src, all, watch.Remarks(), elsewhere)
}

// verifyLog verifies one log of a source.
func (a *app) verifyLog(ctx context.Context, src *source, origin string, watch *audit.Audit, against *against, evidence, only bool) (verified, error) {
	o, err := entry.ParseOrigin(origin)
	if err != nil {
		return verified{Report: ledger.Report{Origin: diag.Printable(origin), Faults: []ledger.Finding{
			{Code: ledger.MalformedEntry, Sentence: diag.Printable(err.Error())}}}}, nil
	}
	if _, err := a.clock(o.Practice); err != nil {
		return verified{}, err
	}
	v := verified{}
	opt := ledger.VerifyOptions{AsEvidence: evidence}
	if err := against.into(ctx, &opt, origin, only); err != nil {
		return verified{}, err
	}
	if opt.Remembered, err = a.remembered(origin); err != nil {
		return verified{}, err
	}
	v.remembered = opt.Remembered != nil
	opt.Observer = watch.Observe
	if v.Report, err = ledger.Verify(ctx, src, origin, opt); err != nil {
		return verified{}, err
	}
	v.seal = watch.Seal()
	return v, nil
}

// remembered gives the checkpoint of the log that this device remembers, nil
// if none. Without a configuration folder it remembers nothing; a memory that
// cannot be read is an error, since a roll-back could hide behind it.
func (a *app) remembered(origin string) ([]byte, error) {
	h, err := a.configuration()
	if err != nil {
		if diag.ClassOf(err) == diag.ClassMachine && a.env("HVPROOF_CONFIG") == "" {
			a.warnf("%v", err)
			return nil, nil
		}
		return nil, err
	}
	return h.Remembered(origin)
}
