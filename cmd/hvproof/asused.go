package main

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
)

// asUsed puts the files that a plan was made from into the log, as they were
// then, and gives their SHA-256 in the plan's order. A file that has changed
// since the plan was made is an error: the plan would name what nobody has.
func (s *session) asUsed(files []plan.File) ([][32]byte, error) {
	carried := map[[32]byte]bool{}
	for _, m := range s.history.Runs() {
		for _, digest := range m.Start().Files {
			carried[digest] = true
		}
	}
	var out [][32]byte
	for _, f := range files {
		if f.Personal() {
			continue
		}
		data, err := os.ReadFile(filepath.Join(s.root, filepath.FromSlash(f.Name)))
		if err != nil {
			return nil, diag.Machine("", "%v", err)
		}
		digest := sha256.Sum256(data)
		if hex.EncodeToString(digest[:]) != f.Digest {
			return nil, diag.No("begin the run again", "%s was changed while the run was being prepared", f.Name)
		}
		if !carried[digest] { // else an entry names it, and it was there when the log was opened
			if _, err := s.store.PutBlob(s.ctx, data); err != nil {
				return nil, err
			}
		}
		out = append(out, digest)
	}
	return out, nil
}
