package home

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// maxKept is the longest file of kept entries that is read: more than a log of a
// million entries gives.
const maxKept = 1 << 30

// RememberKept lays aside what was verified of a log, for whoever asks with the
// same name of its state. It only saves time: the file may be deleted at any
// moment.
func (h *Home) RememberKept(origin, state string, data []byte) error {
	path, err := h.keptPath(origin)
	if err != nil {
		return err
	}
	return h.store(path, append(keptLine(origin, state), data...))
}

// Kept gives what RememberKept laid aside for the log in that state; nil for
// nothing, for another state, and for a file that is not as it is written. What
// the data is worth, the reader of them must tell.
func (h *Home) Kept(origin, state string) []byte {
	path, err := h.keptPath(origin)
	if err != nil {
		return nil
	}
	info, err := os.Stat(path) // before opening: opening a pipe would wait for a writer
	if err != nil || !info.Mode().IsRegular() {
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return nil
	}
	defer f.Close()
	line := keptLine(origin, state)
	first := make([]byte, len(line))
	if _, err := io.ReadFull(f, first); err != nil || !bytes.Equal(first, line) {
		return nil
	}
	size := info.Size() - int64(len(line))
	if size <= 0 || size > maxKept {
		return nil
	}
	data := make([]byte, size)
	if _, err := io.ReadFull(f, data); err != nil {
		return nil
	}
	return data
}

func (h *Home) keptPath(origin string) (string, error) {
	name, err := fileName("kept-", origin, "")
	return filepath.Join(h.dir, "verified", name), err
}

func keptLine(origin, state string) []byte { return fmt.Appendf(nil, "%q %q\n", origin, state) }
