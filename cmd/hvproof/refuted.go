package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"

	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
)

// refuted reads the captures of a run again, and says of the first whose own
// bytes refute the decision on it why; "" if there is none. A file that is not
// there, or is another, is found beside. Each is read once, by a session and,
// but where all is looked at, by this program on this device: an entry does not
// change, nor do bytes with that digest.
func (s *session) refuted(m *run.Machine) (string, error) {
	known := len(s.heldBefore())
	defer func() {
		if s.home != nil && len(s.heldOrder) > known {
			_ = s.home.RememberHeld(s.origin, verifier(), s.heldOrder) // it only saves time
		}
	}()
	for _, step := range m.Steps() {
		last := step.Last()
		if last == nil {
			continue
		}
		digest, err := hex.DecodeString(last.Body.Text("file"))
		if err != nil || len(digest) != 32 {
			continue // answered without a file
		}
		key := captureKey(m, last)
		if s.held[key] {
			continue
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
		s.held[key] = true
		s.heldOrder = append(s.heldOrder, key)
	}
	return "", nil
}

// captureKey names a recorded capture: the run's first entry names the plan and the
// meters that it is judged by, its own the file.
func captureKey(m *run.Machine, a *run.Attempt) [32]byte {
	start := m.Events()[0]
	return sha256.Sum256(fmt.Appendf(nil, "%s %x %x", start.Origin, start.Leaf, a.Leaf))
}

// heldBefore gives the captures whose bytes bear out what was decided on them.
func (s *session) heldBefore() [][32]byte {
	if s.held == nil {
		s.held = map[[32]byte]bool{}
		if s.home != nil && !s.whole { // a bundle has no such notes
			s.heldOrder = s.home.Held(s.origin, verifier())
		}
		for _, key := range s.heldOrder {
			s.held[key] = true
		}
	}
	return s.heldOrder
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
