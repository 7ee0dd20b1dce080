package home

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"path/filepath"
)

// mostHeld is how many are noted of a log, the newest: more captures than a car's
// proofs rest on at a time.
const mostHeld = 500

// RememberHeld notes what a program has held against the bytes that it was found
// in, and found to follow from them: each a SHA-256, oldest first. It only saves
// time: the file may be deleted at any moment.
func (h *Home) RememberHeld(origin, program string, held [][32]byte) error {
	name, err := fileName("held-", origin, "")
	if err != nil {
		return err
	}
	text := fmt.Appendf(nil, "%q %q\n", origin, program)
	for _, sum := range held[max(0, len(held)-mostHeld):] {
		text = fmt.Appendf(text, "%x\n", sum)
	}
	return h.store(filepath.Join(h.dir, "verified", name), text)
}

// Held returns what RememberHeld noted for the log and the program; nothing for
// another program, and for a file that is not as it is written.
func (h *Home) Held(origin, program string) [][32]byte {
	name, err := fileName("held-", origin, "")
	if err != nil {
		return nil
	}
	text, err := readRegular(filepath.Join(h.dir, "verified", name))
	if err != nil {
		return nil
	}
	text, ok := bytes.CutPrefix(text, fmt.Appendf(nil, "%q %q\n", origin, program))
	if !ok {
		return nil
	}
	var out [][32]byte
	for line := range bytes.Lines(text) {
		var sum [32]byte
		if len(line) != 65 || line[64] != '\n' {
			return nil
		}
		if _, err := hex.Decode(sum[:], line[:64]); err != nil {
			return nil
		}
		out = append(out, sum)
	}
	return out
}
