package main

import (
	"context"
	"fmt"
	"slices"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/store"
)

// What a command concludes rests on files beside the log, too, and a file may be
// lost or altered after it was verified. What lets power come on, or goes out to
// others, therefore verifies from the first entry; an answer of the hour looks
// again at the files that its holding proofs rest on.

// readWhole opens the log as read does and verifies it from its first entry, with
// every file that it names.
func (a *app) readWhole(ctx context.Context) (*session, error) {
	return a.open(ctx, opening{Options: store.Options{ReadOnly: true}, whole: true})
}

// writeWhole opens the log as write does and verifies it from its first entry,
// with every file that it names.
func (a *app) writeWhole(ctx context.Context) (*session, error) {
	return a.open(ctx, opening{Options: store.Options{Holder: a.holder()}, whole: true})
}

// verifyWhole verifies the log of an open session from its first entry, with
// every file that it names. An error says that there are faults.
func (s *session) verifyWhole() error {
	was := s.whole
	s.whole = true
	s.held, s.heldOrder = map[[32]byte]bool{}, nil // captures are looked at again, too
	defer func() { s.whole = was }()
	if err := s.check(); err != nil {
		return err
	}
	return s.faulty()
}

// faulty refuses to go on with a log that has faults.
func (s *session) faulty() error {
	if len(s.faults) == 0 {
		return nil
	}
	hint := "hvproof verify says more; nothing is appended to a log with faults"
	if s.faults[0].Code == ledger.RolledBack {
		hint = lossHint
	}
	return diag.No(hint, "%s", fault(s.faults[0]))
}

func fault(f ledger.Finding) string {
	return fmt.Sprintf("the log does not verify: entry %d: %s", f.Entry, f.Sentence)
}

// broken gives everything that is known to be wrong with the log, in words.
func (s *session) broken() []string {
	var out []string
	for _, f := range slices.Concat(s.faults, s.unread, s.lost) {
		if text := fault(f); !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	if p := s.absent; p.Origin != "" {
		out = append(out, fmt.Sprintf("the log goes on from %s with %s, which is not in this folder: what is open in it is not known", p.Origin, number(int(p.Size), "entry", "entries")))
	}
	return out
}

// about says of which log a finding is, where that is not this one.
func (s *session) about(origin string, f ledger.Finding) ledger.Finding {
	if origin != s.origin {
		f.Sentence = "of the log before, " + origin + ": " + f.Sentence
	}
	return f
}

// proofs gives the state of every proof now, and looks again at the files that
// those which hold rest on: plans, captures, photographs, files as used. A proof
// has failed where a capture's own bytes refute what was decided on it.
func (s *session) proofs(reqs []readiness.Requirement) ([]readiness.Proof, error) {
	proofs := readiness.Proofs(s.facts(), reqs, s.now())
	s.lost = nil
	runs, files := map[string]bool{}, map[[32]byte]bool{}
	for _, p := range proofs {
		for _, i := range p.Items {
			m := s.history.Run(i.Run)
			if i.State != readiness.Holds || m == nil || runs[i.Run] {
				continue
			}
			runs[i.Run] = true
			why, err := s.refuted(m)
			if err != nil {
				return nil, err
			}
			if why != "" {
				fails(proofs, i.Run, why)
			}
			for _, e := range m.Events() {
				for _, digest := range e.Body.Blobs() {
					if files[digest] {
						continue
					}
					files[digest] = true
					f, err := ledger.CheckBlob(s.ctx, s.book, e.Index, digest)
					if err != nil {
						return nil, err
					}
					if f != nil {
						s.lost = append(s.lost, s.about(e.Origin, *f))
					}
				}
			}
		}
	}
	return proofs, nil
}
