package home

import (
	"crypto/ed25519"
	"errors"
	"io"
	"io/fs"
)

// PracticeKeys are the keys of the people of a practice folder. They lie inside
// that folder, without a passphrase, so that it works unattended and can be
// copied as a whole; for the same reason their permissions are not checked.
// Whoever has the folder can sign as anybody in it, which is why its log says
// practice in its origin and never is evidence.
type PracticeKeys struct {
	dir    string
	random io.Reader
}

// OpenPractice returns the practice keys in dir. Nothing is read or created yet.
func OpenPractice(dir string, random io.Reader) *PracticeKeys {
	return &PracticeKeys{dir: dir, random: random}
}

// CreatePersonKey makes the practice key of a person, see [Home.CreatePersonKey].
func (p *PracticeKeys) CreatePersonKey(id string) (ed25519.PublicKey, error) {
	key, err := generate(p.random)
	if err != nil {
		return nil, err
	}
	return createPerson(p.dir, id, key, nil)
}

// PersonKey returns the practice key of a person, or [ErrNoKey].
func (p *PracticeKeys) PersonKey(id string) (ed25519.PrivateKey, error) {
	path, err := personFile(p.dir, id)
	if err != nil {
		return nil, err
	}
	file, err := readRegular(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, noPersonKey(path, id, "the people of a practice folder are made with it")
	case errors.Is(err, errIrregular):
		return nil, badFile(path, err, "")
	case err != nil:
		return nil, machine(err, "reading %s", path)
	}
	key, err := parsePlainKey(file)
	if err != nil {
		return nil, badFile(path, err, "make the practice folder anew")
	}
	return key, nil
}

// People returns the ids, in order, of the people with a practice key.
func (p *PracticeKeys) People() ([]string, error) { return listKeys(p.dir) }
