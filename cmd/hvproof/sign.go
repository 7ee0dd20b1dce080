package main

import (
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"path/filepath"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// commit signs a proposed entry with a person's key, stores it durably,
// remembers the checkpoint and folds it.
func (s *session) commit(body entry.Body, person string) (entry.Entry, error) {
	key, ok := s.keys[person]
	if !ok {
		return entry.Entry{}, diag.No("", "%s has not unlocked a key", person)
	}
	e, leaf, err := s.log.Append(s.ctx, body, key)
	if err != nil {
		return entry.Entry{}, logError(err)
	}
	if err := s.home.Remember(s.origin, s.log.Checkpoint()); err != nil {
		return entry.Entry{}, err
	}
	s.entries = e.Index + 1
	if err := s.people.Apply(e, person); err != nil {
		return entry.Entry{}, err
	}
	s.record.Apply(e, leaf, person)
	return e, s.history.Apply(e, leaf, person)
}

// logError gives an error of appending its class.
func logError(err error) error {
	switch {
	case errors.Is(err, ledger.ErrRefused), errors.Is(err, ledger.ErrLost):
		return &diag.Error{Class: diag.ClassNo, Message: err.Error(), Err: err}
	}
	return err
}

// practiceKeys is the folder inside a practice car folder that keeps its
// people's keys.
const practiceKeys = "practice-keys"

// unlock makes a person's key ready to sign. ask is told how to get the
// passphrase; in a practice folder none is needed.
func (s *session) unlock(person string, ask func(person string) ([]byte, error)) error {
	if _, ok := s.keys[person]; ok {
		return nil
	}
	if _, ok := s.people.Current(person); !ok {
		return diag.Bad("people with keys in this log: "+strings.Join(s.names(""), ", "), "%s has no key in this log", person)
	}
	key, err := s.personKey(person, ask)
	if err != nil {
		return err
	}
	signer, err := ledger.NewSigner(person, key)
	if err != nil {
		return err
	}
	s.keys[person] = signer
	return nil
}

func (s *session) personKey(person string, ask func(person string) ([]byte, error)) (ed25519.PrivateKey, error) {
	if s.practice {
		return home.OpenPractice(filepath.Join(s.root, practiceKeys), rand.Reader).PersonKey(person)
	}
	passphrase, err := ask(person)
	if err != nil {
		return nil, err
	}
	defer clear(passphrase)
	return s.home.PersonKey(person, passphrase)
}

// lock forgets a person's key.
func (s *session) lock(person string) { delete(s.keys, person) }

// names gives the people who may sign now, those with the role where one is
// named.
func (s *session) names(role people.Role) []string {
	var out []string
	for _, p := range s.people.Persons() {
		now, ok := s.people.Current(p.ID)
		if ok && !slices.Contains(out, p.ID) && (role == "" || slices.Contains(now.Roles, role)) {
			out = append(out, p.ID)
		}
	}
	return out
}
