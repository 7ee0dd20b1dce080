package home

import (
	"encoding/base64"
	"fmt"
	"path/filepath"
)

// RememberVerified notes that a program has verified a log up to so many
// entries, over which the tree has that root. It only saves time: the file may
// be deleted at any moment.
func (h *Home) RememberVerified(origin, program string, size int64, root [32]byte) error {
	name, err := fileName("verified-", origin, "")
	if err != nil {
		return err
	}
	path := filepath.Join(h.dir, "verified", name)
	return h.store(path, verifiedText(origin, program, size, root))
}

func verifiedText(origin, program string, size int64, root [32]byte) []byte {
	return fmt.Appendf(nil, "%s\n%d\n%s\n%q\n", origin, size, base64.StdEncoding.EncodeToString(root[:]), program)
}

// Verified returns what RememberVerified noted for the log and the program:
// size 0 for nothing, for another program, and for a file that is not as it is
// written.
func (h *Home) Verified(origin, program string) (size int64, root [32]byte) {
	name, err := fileName("verified-", origin, "")
	if err != nil {
		return 0, root
	}
	text, err := readRegular(filepath.Join(h.dir, "verified", name))
	if err != nil {
		return 0, root
	}
	noted, err := parseHead(text)
	if err != nil {
		return 0, root
	}
	raw, err := base64.StdEncoding.DecodeString(noted.root)
	if err != nil || len(raw) != len(root) {
		return 0, root
	}
	copy(root[:], raw)
	if noted.origin != origin || string(verifiedText(origin, program, noted.size, root)) != string(text) {
		return 0, [32]byte{}
	}
	return noted.size, root
}
