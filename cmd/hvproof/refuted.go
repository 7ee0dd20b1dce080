package main

import (
	"encoding/hex"
	"errors"
	"fmt"

	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// refuted reads the captures of a run again, and says of the first whose own
// bytes refute the decision on it why; "" if there is none. A file that is not
// there, or is another, is found beside. A session reads each once: an entry
// does not change, nor do bytes with that digest.
func (s *session) refuted(m *run.Machine) (string, error) {
	for _, step := range m.Steps() {
		last := step.Last()
		if last == nil {
			continue
		}
		key := fmt.Sprint(m.ID(), " ", last.Index)
		if s.held[key] {
			continue
		}
		digest, err := hex.DecodeString(last.Body.Text("file"))
		if err != nil || len(digest) != 32 {
			continue // answered without a file
		}
		file, err := s.book.Blob(s.ctx, [32]byte(digest))
		if errors.Is(err, ledger.ErrNoBlob) || errors.Is(err, ledger.ErrAlteredBlob) {
			continue
		}
		if err != nil {
			return "", err
		}
		if why := m.Refuted(step.Step, last, file); why != "" {
			return why, nil
		}
		if s.held == nil {
			s.held = map[string]bool{}
		}
		s.held[key] = true
	}
	return "", nil
}

// fails takes what rests on a run out of the proofs that hold.
func fails(proofs []readiness.Proof, id, why string) {
	for i := range proofs {
		p := &proofs[i]
		for k := range p.Items {
			if p.Items[k].Run == id && p.Items[k].State == readiness.Holds {
				p.Items[k].State, p.Items[k].Reason = readiness.Failed, why
				p.State, p.Reason = readiness.Failed, why
			}
		}
	}
}
