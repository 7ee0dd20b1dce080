package home

import (
	"crypto/ed25519"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"strings"

	"hvproof/internal/diag"
)

// maxID is the longest person id in bytes.
const maxID = 64

// CheckPersonID refuses what cannot be the id of a person and the name of a
// file on every system: an id is a small letter, then small letters, digits,
// single dots and dashes, at most 64, and it ends in a letter or a digit.
func CheckPersonID(id string) error {
	outside := func(c rune) bool { return !strings.ContainsRune("abcdefghijklmnopqrstuvwxyz0123456789.-", c) }
	if id == "" || len(id) > maxID || strings.ContainsFunc(id, outside) || id[0] < 'a' ||
		strings.ContainsAny(id[len(id)-1:], ".-") || strings.Contains(id, "..") {
		return diag.Bad("like r.mills: small letters, digits, single dots and dashes",
			"%.80q is not the id of a person", id)
	}
	return nil
}

// CreatePersonKey makes the key of a person on this device, encrypted with the
// passphrase, and returns its public half. It fails with [ErrKeyExists] if the
// person has a key here already.
func (h *Home) CreatePersonKey(id string, passphrase []byte) (ed25519.PublicKey, error) {
	if len(passphrase) == 0 {
		return nil, diag.Bad("choose a passphrase that only this person knows", "no passphrase for the key of %.80q", id)
	}
	key, err := generate(h.random)
	if err != nil {
		return nil, err
	}
	return createPerson(h.peopleFolder(), id, key, passphrase)
}

// PersonKey unlocks the key of a person; it takes about a tenth of a second.
// The errors [ErrNoKey] and [ErrPassphrase] can be told apart. The caller
// forgets the key after use: a witness's or releaser's after one signature.
func (h *Home) PersonKey(id string, passphrase []byte) (ed25519.PrivateKey, error) {
	file, path, err := h.readPerson(id)
	if err != nil {
		return nil, err
	}
	key, err := parseEncryptedKey(file, passphrase)
	if errors.Is(err, ErrPassphrase) {
		return nil, &diag.Error{Class: diag.ClassBadInput, Err: ErrPassphrase,
			Message: fmt.Sprintf("the passphrase does not open the key of %s", id),
			Hint:    "try again; the key is " + path}
	}
	if err != nil {
		return nil, badPerson(path, err)
	}
	return key, nil
}

// PersonPublicKey returns the public half of a person's key, without passphrase.
// It is read from the key file itself, not from the .pub file beside it.
func (h *Home) PersonPublicKey(id string) (ed25519.PublicKey, error) {
	file, path, err := h.readPerson(id)
	if err != nil {
		return nil, err
	}
	public, err := parsePublicHalf(file)
	if err != nil {
		return nil, badPerson(path, err)
	}
	return public, nil
}

// People returns the ids, in order, of the people whose keys are on this device.
func (h *Home) People() ([]string, error) { return listKeys(h.peopleFolder()) }

func (h *Home) peopleFolder() string { return filepath.Join(h.dir, "people-keys") }

// readPerson returns the key file of a person and its path.
func (h *Home) readPerson(id string) ([]byte, string, error) {
	path, err := personFile(h.peopleFolder(), id)
	if err != nil {
		return nil, "", err
	}
	file, err := readPrivate(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, path, noPersonKey(path, id,
			"make one with `hvproof person`, or copy the file from the device where it was made")
	}
	return file, path, err
}

func noPersonKey(path, id, hint string) error {
	return &diag.Error{Class: diag.ClassBadInput, Err: ErrNoKey, Hint: hint,
		Message: fmt.Sprintf("%s: %s has no key here", path, id)}
}

func badPerson(path string, err error) error {
	hint := "put the file back from a copy, or retire the key and join with a new one"
	if errors.Is(err, errNotEncrypted) {
		hint = "give it a passphrase: ssh-keygen -p -f " + path
	}
	return badFile(path, err, hint)
}

// createPerson writes the key file and the .pub file beside it.
func createPerson(folder, id string, key ed25519.PrivateKey, passphrase []byte) (ed25519.PublicKey, error) {
	path, err := personFile(folder, id)
	if err != nil {
		return nil, err
	}
	file, err := formatKey(key, id, passphrase)
	if err != nil {
		return nil, machine(err, "%s", path)
	}
	public := key.Public().(ed25519.PublicKey)
	line, err := formatPublic(public, id)
	if err != nil {
		return nil, machine(err, "%s", path)
	}
	if err := createOnce(path, file, privateMode); err != nil {
		return nil, createError(path, err)
	}
	// The .pub file follows from the key, so an older one may be replaced.
	if err := replace(path+".pub", line, publicMode); err != nil {
		return nil, machine(err, "writing %s.pub", path)
	}
	return public, nil
}

const personPrefix, keySuffix = "person-", ".key"

// personFile returns the path of a person's key file. The prefix keeps ids such
// as "con" from being device names on Windows.
func personFile(folder, id string) (string, error) {
	if err := CheckPersonID(id); err != nil {
		return "", err
	}
	return filepath.Join(folder, personPrefix+id+keySuffix), nil
}

// personOfFile is the inverse of personFile for the last part of the path.
func personOfFile(name string) (id string, ok bool) {
	id, ok = strings.CutPrefix(name, personPrefix)
	if ok {
		id, ok = strings.CutSuffix(id, keySuffix)
	}
	return id, ok && CheckPersonID(id) == nil
}
