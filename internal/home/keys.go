package home

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"hvproof/internal/diag"
)

// CreateLogKey makes the key that signs the checkpoints of a new log. It fails
// with [ErrKeyExists] if this device has a key for that origin already.
func (h *Home) CreateLogKey(origin string) (ed25519.PrivateKey, error) {
	path, err := h.logKeyFile(origin)
	if err != nil {
		return nil, err
	}
	key, err := generate(h.random)
	if err != nil {
		return nil, err
	}
	file, err := formatKey(key, origin, nil)
	if err != nil {
		return nil, machine(err, "%s", path)
	}
	if err := createOnce(path, file, privateMode); err != nil {
		return nil, createError(path, err)
	}
	return key, nil
}

// LogKey returns the key of a log that was begun on this device. [ErrNoKey]
// means that it was begun on another one: the log is read-only here until a
// hand-over begins a new origin.
func (h *Home) LogKey(origin string) (ed25519.PrivateKey, error) {
	path, err := h.logKeyFile(origin)
	if err != nil {
		return nil, err
	}
	file, err := readPrivate(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &diag.Error{Class: diag.ClassBadInput, Err: ErrNoKey,
			Message: fmt.Sprintf("%s: the log %s was begun on another device and is read-only here", path, origin),
			Hint:    "go on with it on that device, or let a releaser sign a hand-over to this one"}
	}
	if err != nil {
		return nil, err
	}
	key, err := parsePlainKey(file)
	if err != nil {
		return nil, badFile(path, err, "put the file back from a copy; without it the log needs a hand-over")
	}
	return key, nil
}

func (h *Home) logKeyFile(origin string) (string, error) {
	name, err := fileName("log-", origin, ".key")
	return filepath.Join(h.dir, "log-keys", name), err
}

// readPrivate reads a private key file and refuses one that others can read.
// The error is fs.ErrNotExist, as it is, where there is none.
func readPrivate(path string) ([]byte, error) {
	file, mode, err := readWithMode(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, err
	case errors.Is(err, errIrregular):
		return nil, badFile(path, err, "")
	case err != nil:
		return nil, machine(err, "reading %s", path)
	case readableByOthers(mode):
		return nil, diag.Bad(fmt.Sprintf("chmod 600 %s; if somebody may have copied it, retire the key", path),
			"%s: others on this computer can read or change this private key (mode %04o)", path, mode.Perm())
	}
	return file, nil
}

// badFile says that the file at path is wrong.
func badFile(path string, err error, hint string) error {
	return &diag.Error{Class: diag.ClassBadInput, Message: path, Err: err, Hint: hint}
}

// createError turns a failure of createOnce on a key file into words.
func createError(path string, err error) error {
	if errors.Is(err, fs.ErrExist) {
		return &diag.Error{Class: diag.ClassBadInput, Err: ErrKeyExists, Message: path,
			Hint: "a key is never replaced; move the file away by hand if it is really not needed"}
	}
	return machine(err, "writing %s", path)
}

// listKeys returns the ids, in order, of the people with a key file in folder.
func listKeys(folder string) ([]string, error) {
	files, err := os.ReadDir(folder) // in order of names
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, machine(err, "reading %s", folder)
	}
	var ids []string
	for _, f := range files {
		if id, ok := personOfFile(f.Name()); ok {
			ids = append(ids, id)
		}
	}
	return ids, nil
}
