package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"hvproof/internal/diag"
)

// Holder says who writes to a car folder.
type Holder struct {
	PID   int
	Host  string
	Since time.Time
}

// String returns the holder in words, as in "process 4711 on bay-laptop since
// 2026-11-25 17:31:02 UTC".
func (h Holder) String() string {
	return fmt.Sprintf("process %d on %s since %s UTC", h.PID, printable(h.Host), h.Since.UTC().Format("2006-01-02 15:04:05"))
}

const (
	leaseFile    = "hvproof.lock"
	longestLease = 512 // bytes of the lock file that are read

	// A program that only looks whether somebody writes holds the lock for an
	// instant; a writer tries again for so long before it believes it.
	leaseTries = 20
	leasePause = 10 * time.Millisecond
)

// errHeld is returned by lockFile while another open file has the lock.
var errHeld = errors.New("held by another program")

// lease is the right to write to one car folder. The operating system ends it
// when the process ends, however it ends; the file itself stays.
type lease struct{ file *os.File }

// takeLease takes the lease of a folder, or says who has it.
func takeLease(dir string, holder Holder) (*lease, error) {
	path := filepath.Join(dir, leaseFile)
	var file *os.File
	var err error
	for range leaseTries {
		if file, err = lockFile(path); !errors.Is(err, errHeld) {
			break
		}
		time.Sleep(leasePause)
	}
	if errors.Is(err, errHeld) {
		return nil, held(dir, path)
	}
	if err != nil {
		return nil, fault(err, path, "taking the right to write")
	}
	l := &lease{file}
	if err := l.write(holder.String() + "\n"); err != nil {
		return nil, errors.Join(fault(err, path, "taking the right to write"), l.release())
	}
	return l, nil
}

// held returns the error that names the holder.
func held(dir, path string) error {
	who := "another program"
	if text := readHolder(path); text != "" {
		who = text
	}
	return diag.Machine("end that program, or wait for it; reading (verify, log, ready) works meanwhile",
		"%s: in use by %s", dir, who)
}

// readHolder returns the holder's text, "" if it cannot be read. The text is for
// people only: whether the lease is held is asked of the operating system.
func readHolder(path string) string {
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, longestLease))
	if err != nil {
		return ""
	}
	line, _, _ := strings.Cut(string(text), "\n")
	return printable(line)
}

// printable drops what could disturb a terminal.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r > '~' {
			return -1
		}
		return r
	}, s)
}

// write replaces the text in the lock file.
func (l *lease) write(text string) error {
	if err := l.file.Truncate(0); err != nil {
		return err
	}
	_, err := l.file.WriteAt([]byte(text), 0)
	return err
}

// release ends the lease. The holder's name is taken out first, so that nobody
// is told of a program that has gone.
func (l *lease) release() error {
	return errors.Join(l.file.Truncate(0), l.file.Close())
}

// isLeased reports whether some program, this one included, writes to the folder.
func isLeased(dir string) (bool, error) {
	err := probeLock(filepath.Join(dir, leaseFile))
	switch {
	case errors.Is(err, errHeld):
		return true, nil
	case errors.Is(err, fs.ErrNotExist):
		return false, nil
	}
	return false, err
}
