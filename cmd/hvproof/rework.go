package main

import (
	"context"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
)

// maxPhoto is the largest photograph that is taken into the log.
const maxPhoto = 32 << 20

func newReworkCommand(a *app) *cobra.Command {
	var answers, by string
	order := false
	cmd := &cobra.Command{
		Use:   "rework",
		Short: "record work on the HV system, and what it makes void",
		Long: `Records who opened or changed what, when and why, with readings as found and as
left. It makes void exactly the proofs about those parts, and those that
rework.yaml names for this kind of work, with the reason; then it prints the
least that must be tested again. Events, such as a blown fuse, are recorded
here, too. Any sanction or permit in force ends with it.

Work that another device has recorded in this folder, in a log of its own, may
have come before or after what is proved here: it makes void whatever it
touched until --order records it here, too. Then it counts as of now.

Unknown counts as touched: where the vehicle file does not say where a part is,
a proof that may depend on it is void.`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if order {
				return a.putInOrder(cmd.Context(), by)
			}
			return a.rework(cmd.Context(), answers, by)
		},
	}
	cmd.Flags().BoolVar(&order, "order", false, "put work that another log in this folder has in order here, as of now")
	cmd.Flags().StringVar(&answers, "answers", "", "answer from this file")
	cmd.Flags().StringVar(&by, "by", "", "who signs")
	return cmd
}

type reworkDocument struct {
	Entry  int64            `json:"entry"`
	Work   string           `json:"work"`
	Parts  []string         `json:"parts"`
	Void   []effectDocument `json:"void"`
	Keep   []effectDocument `json:"keep"`
	Retest []retestDocument `json:"retest"`
}

type effectDocument struct {
	Proof  string   `json:"proof"`
	Parts  []string `json:"parts"` // what of it; empty is all of it
	Reason string   `json:"reason"`
}

func (a *app) rework(ctx context.Context, answers, by string) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	folder, err := s.load()
	if err != nil {
		return err
	}
	d, err := s.recordWork(folder, answers, by)
	if err != nil {
		return err
	}
	if a.json {
		return a.document(d)
	}
	for _, v := range d.Void {
		what := v.Proof
		if len(v.Parts) > 0 {
			what += " (" + strings.Join(v.Parts, ", ") + ")"
		}
		a.printf("void   %s: %s\n", what, v.Reason)
	}
	for _, v := range d.Keep {
		a.printf("stands %s: %s\n", v.Proof, v.Reason)
	}
	a.printf("\nto be tested again\n")
	a.printRetest(d.Retest)
	return nil
}

// recordWork has the form answered and records it.
func (s *session) recordWork(folder *carfolder.Folder, answers, by string) (reworkDocument, error) {
	file, err := s.answersFor(answers)
	if err != nil {
		return reworkDocument{}, err
	}
	if by, err = s.signer(by, file, "operator", ""); err != nil {
		return reworkDocument{}, err
	}
	v := folder.Vehicle
	f := folder.Rework.Form(v, v.Part, v.Env().Names())
	if err := s.app.fill(f, file); err != nil {
		return reworkDocument{}, err
	}
	var photos [][32]byte
	for _, name := range f.All(rework.KeyPhotos) {
		digest, err := s.blobOf(name)
		if err != nil {
			return reworkDocument{}, err
		}
		photos = append(photos, digest)
	}
	work, parts := f.Get(rework.KeyWork), f.All(rework.KeyParts)
	effects := folder.Rework.Effects(v, work, parts, folder.ProofParts(s.practice))
	if err := s.unlock(by, s.app.passphrase); err != nil {
		return reworkDocument{}, err
	}
	e, err := s.commit(readiness.WorkBody(f, effects, photos), by)
	if err != nil {
		return reworkDocument{}, err
	}
	s.app.sayf("recorded %s %d", e.Kind, e.Index)
	d := reworkDocument{Entry: e.Index, Work: work, Parts: append([]string{}, parts...), Void: []effectDocument{}, Keep: []effectDocument{}, Retest: []retestDocument{}}
	for _, x := range effects {
		doc := effectDocument{x.Proof, append([]string{}, x.Parts...), x.Reason}
		if x.Kept {
			d.Keep = append(d.Keep, doc)
		} else {
			d.Void = append(d.Void, doc)
		}
	}
	steps, _ := readiness.RetestPlan(readiness.Proofs(s.facts(), folder.Requirements(s.practice), s.now()))
	for _, r := range steps {
		d.Retest = append(d.Retest, retestJSON(r))
	}
	return d, nil
}

// putInOrder records the work of other logs in the folder, whose order to this
// one is not known, here: from now on its order is.
func (a *app) putInOrder(ctx context.Context, by string) error {
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	works := s.record.Unordered()
	if len(works) == 0 {
		return diag.No("record work with: hvproof rework", "no other log in this folder has work that is not in order here")
	}
	folder, err := s.load()
	if err != nil {
		return err
	}
	if by, err = s.signer(by, nil, "", ""); err != nil {
		return err
	}
	docs := []reworkDocument{}
	for _, w := range works {
		e, err := s.recordBy(readiness.OrderBody(w), by)
		if err != nil {
			return err
		}
		d := reworkDocument{Entry: e.Index, Work: w.Kind, Parts: append([]string{}, w.Parts...), Void: []effectDocument{}, Keep: []effectDocument{}, Retest: []retestDocument{}}
		for _, v := range w.Voids {
			d.Void = append(d.Void, effectDocument{v.Proof, append([]string{}, v.Parts...), v.Reason})
		}
		docs = append(docs, d)
		if !a.json {
			a.printf("in order now: %s\n", w.Text)
		}
	}
	steps, _ := readiness.RetestPlan(readiness.Proofs(s.facts(), folder.Requirements(s.practice), s.now()))
	last := &docs[len(docs)-1]
	for _, r := range steps {
		last.Retest = append(last.Retest, retestJSON(r))
	}
	if a.json {
		return a.document(*last)
	}
	a.printf("\nto be tested again\n")
	a.printRetest(last.Retest)
	return nil
}

// answersFor reads an answers file; nil where none is named.
func (s *session) answersFor(name string) (*answersFile, error) {
	if name == "" {
		return nil, nil
	}
	return readAnswers(s.app.inFolder(s.root, name))
}

// signer settles who signs: the one who was named, the one whom the answers
// file has in the role, or the only one who can.
func (s *session) signer(by string, file *answersFile, inFile string, role people.Role) (string, error) {
	can := s.names(role)
	if by == "" && file != nil {
		by = file.people[inFile]
	}
	switch {
	case by == "" && len(can) == 1:
		return can[0], nil
	case by == "":
		return "", diag.Bad("say who with --by: "+strings.Join(can, ", "), "nobody was named to sign")
	case !slices.Contains(can, by):
		return "", diag.Bad("people who may: "+strings.Join(can, ", "), "%s may not sign this in this log", by)
	}
	return by, nil
}

// blobOf keeps a file in the log.
func (s *session) blobOf(name string) ([32]byte, error) {
	f, err := os.Open(s.app.inFolder(s.root, name))
	if err != nil {
		return [32]byte{}, diag.Bad("", "%v", err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxPhoto+1))
	switch {
	case err != nil:
		return [32]byte{}, diag.Bad("", "%s: %v", name, err)
	case len(b) > maxPhoto:
		return [32]byte{}, diag.Bad("make it smaller", "%s is larger than %d MiB", name, maxPhoto>>20)
	case len(b) == 0:
		return [32]byte{}, diag.Bad("", "%s is empty", name)
	}
	return s.store.PutBlob(s.ctx, b)
}
