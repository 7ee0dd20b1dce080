package people

import (
	"bytes"
	"crypto/ed25519"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"

	"hvproof/internal/entry"
)

// Forever is the Until of a key that has not ended.
const Forever = int64(1<<63 - 1)

// A Person is one key of a person and the entries between which it counts: a
// signature at index i is good if From < i < Until (entry From is the one
// that brought the key in and is itself signed with it).
type Person struct {
	ID           string
	Roles        []Role
	Key          ed25519.PublicKey
	From, Until  int64
	IntroducedBy string // who signed the join; the person itself for entry 0
}

// ErrWrongSigner and ErrRetired are what the errors of [Register.Check] and
// [Register.MaySign] wrap: the key was never good for such an entry, or it was
// and has ended.
var (
	ErrWrongSigner = errors.New("wrong signer")
	ErrRetired     = errors.New("retired key")
)

// A SignerError says in plain words why a signature does not count. It wraps
// [ErrWrongSigner] or [ErrRetired].
type SignerError struct {
	Kind     error // ErrWrongSigner or ErrRetired
	Sentence string
}

// Error is the sentence.
func (e *SignerError) Error() string { return e.Sentence }

// Unwrap gives ErrWrongSigner or ErrRetired.
func (e *SignerError) Unwrap() error { return e.Kind }

func wrong(format string, a ...any) error {
	return &SignerError{ErrWrongSigner, fmt.Sprintf(format, a...)}
}

func retired(format string, a ...any) error {
	return &SignerError{ErrRetired, fmt.Sprintf(format, a...)}
}

// held is a key with its hash, which is wanted for every entry.
type held struct {
	Person
	hash uint32
}

func hold(p Person) held { return held{p, KeyHash(p.ID, p.Key)} }

type invitation struct {
	held
	index int64 // of the join
}

// A Register is the state of people and keys after some entries. The zero
// value is the state before entry 0.
type Register struct {
	started bool
	keys    []held
	pending map[string]invitation
	logKey  ed25519.PublicKey
	logName string
}

// Clone returns an independent copy.
func (r *Register) Clone() *Register {
	c := *r
	c.keys = slices.Clone(r.keys)
	c.pending = maps.Clone(r.pending)
	return &c
}

// LogKey returns the log's own key as entry 0 declares it, nil before that.
func (r *Register) LogKey() (name string, key ed25519.PublicKey) { return r.logName, r.logKey }

// Persons lists every key that ever counted, in the order of their entries.
func (r *Register) Persons() []Person {
	list := make([]Person, len(r.keys))
	for i, h := range r.keys {
		list[i] = h.Person
	}
	return list
}

// Current returns the key that counts for a person now.
func (r *Register) Current(id string) (Person, bool) {
	for i := len(r.keys) - 1; i >= 0; i-- {
		if r.keys[i].ID == id && r.keys[i].Until == Forever {
			return r.keys[i].Person, true
		}
	}
	return Person{}, false
}

// Pending lists who was introduced and has not accepted yet, by id.
func (r *Register) Pending() []Person {
	var list []Person
	for _, id := range slices.Sorted(maps.Keys(r.pending)) {
		list = append(list, r.pending[id].Person)
	}
	return list
}

// Invitation returns the index of the join that a person has still to accept.
func (r *Register) Invitation(id string) (index int64, ok bool) {
	inv, ok := r.pending[id]
	return inv.index, ok
}

// Warnings says what is precarious: fewer than two releasers, or none.
func (r *Register) Warnings() []string {
	if !r.started {
		return nil
	}
	count := 0
	for _, p := range r.keys {
		if p.Until == Forever && slices.Contains(p.Roles, Releaser) {
			count++
		}
	}
	switch count {
	case 0:
		return []string{"nobody can release or introduce people any more: a new log is needed, with this one as its unproven predecessor"}
	case 1:
		return []string{"there is only one releaser: if that key is lost, a new log is needed; introduce a second one"}
	}
	return nil
}

// MaySign reports whether the person could sign an entry of that kind as entry
// index. It says no with the reason, wrapping [ErrWrongSigner] or [ErrRetired].
func (r *Register) MaySign(id string, index int64, kind entry.Kind) error {
	if kind == entry.Start {
		return r.mayStart(index)
	}
	if kind == entry.Accept {
		if _, ok := r.pending[id]; !ok {
			return wrong("%s was not introduced, so there is nothing to accept", id)
		}
		return nil
	}
	var had *held
	for i := len(r.keys) - 1; i >= 0; i-- {
		if p := &r.keys[i]; p.ID == id {
			if p.From < index && index < p.Until {
				return may(p.Person, kind)
			}
			if had == nil && p.Until <= index {
				had = p
			}
		}
	}
	if had != nil {
		return retired("the key of %s ended with entry %d", id, had.Until)
	}
	if _, ok := r.pending[id]; ok {
		return wrong("%s was introduced but has not accepted yet", id)
	}
	return wrong("%s is not known to this log", id)
}

func (r *Register) mayStart(index int64) error {
	if r.started || index != 0 {
		return wrong("a start can only be entry 0")
	}
	return nil
}

func may(p Person, kind entry.Kind) error {
	if mayDo(p.Roles, kind) {
		return nil
	}
	return wrong("%s is %s and may not sign %s", p.ID, FormatRoles(p.Roles), kind)
}

// Check decides whether the key that a note names (signer and key hash) may
// sign the entry as the next one, and returns the key to verify the signature
// with. With an error, which wraps [ErrWrongSigner] or [ErrRetired], the key is
// still returned where it is known, so that the signature can be looked at.
func (r *Register) Check(e entry.Entry, signer string, keyHash uint32) (ed25519.PublicKey, error) {
	switch e.Kind {
	case entry.Start:
		return r.checkStart(e, signer, keyHash)
	case entry.Accept:
		return r.checkAccept(e, signer, keyHash)
	}
	known := false
	for i := len(r.keys) - 1; i >= 0; i-- {
		p := &r.keys[i]
		if p.ID != signer {
			continue
		}
		known = true
		if p.hash != keyHash {
			continue
		}
		// Not by the index that the entry claims: the fold itself knows
		// what came before.
		if p.Until != Forever {
			return p.Key, retired("the key of %s ended with entry %d", p.ID, p.Until)
		}
		if err := may(p.Person, e.Kind); err != nil {
			return p.Key, err
		}
		return p.Key, r.checkChange(e, p.Person)
	}
	if inv, ok := r.pending[signer]; ok && inv.hash == keyHash {
		return inv.Key, wrong("%s was introduced but has not accepted yet", signer)
	}
	if known {
		return nil, wrong("%s never had a key %08x in this log", signer, keyHash)
	}
	return nil, wrong("%.64s is not known to this log", signer)
}

func (r *Register) checkStart(e entry.Entry, signer string, keyHash uint32) (ed25519.PublicKey, error) {
	name, key, err := ParseVKey(e.Text("key"))
	if err != nil {
		return nil, wrong("entry 0 brings no key that can be relied on: %v", err)
	}
	if err := r.mayStart(e.Index); err != nil {
		return key, err
	}
	if name != e.Text("person") || name != signer || KeyHash(name, key) != keyHash {
		return key, wrong("entry 0 must be signed with the key that it brings, by %s", e.Text("person"))
	}
	logName, logKey, err := ParseVKey(e.Text("log-key"))
	if err != nil {
		return key, wrong("entry 0 brings no key of the log that can be relied on: %v", err)
	}
	if logName != e.Origin {
		return key, wrong("the log's key must be named after the log's origin, not %.80s", logName)
	}
	if bytes.Equal(logKey, key) {
		return key, wrong("the log's key and the key of %s are the same", name)
	}
	return key, nil
}

func (r *Register) checkAccept(e entry.Entry, signer string, keyHash uint32) (ed25519.PublicKey, error) {
	inv, ok := r.pending[signer]
	if !ok {
		return r.anyKey(signer, keyHash), wrong("%.64s was not introduced, so there is nothing to accept", signer)
	}
	if inv.hash != keyHash {
		return r.anyKey(signer, keyHash), wrong("%s must accept with the key that was introduced", signer)
	}
	if e.Text("entry") != strconv.FormatInt(inv.index, 10) {
		return inv.Key, wrong("%s accepts entry %s, but was introduced by entry %d", signer, e.Text("entry"), inv.index)
	}
	return inv.Key, nil
}

// anyKey finds a key that counted once, nil if there is none.
func (r *Register) anyKey(id string, keyHash uint32) ed25519.PublicKey {
	for _, p := range r.keys {
		if p.ID == id && p.hash == keyHash {
			return p.Key
		}
	}
	return nil
}

// checkChange holds a join or retire against what is known.
func (r *Register) checkChange(e entry.Entry, by Person) error {
	switch e.Kind {
	case entry.Join:
		name, key, err := ParseVKey(e.Text("key"))
		if err != nil {
			return wrong("the key of %s cannot be relied on: %v", e.Text("person"), err)
		}
		if name != e.Text("person") {
			return wrong("the key that is introduced for %s is named %.64s", e.Text("person"), name)
		}
		if owner := r.owner(key); owner != "" {
			return wrong("the key that is introduced for %s is already that of %s", name, owner)
		}
	case entry.Retire:
		name, key, err := ParseVKey(e.Text("key"))
		now, ok := r.Current(e.Text("person"))
		if err != nil || !ok || name != now.ID || !bytes.Equal(key, now.Key) {
			return wrong("%.64s has no such key that could end", e.Text("person"))
		}
		if now.ID != by.ID && !slices.Contains(by.Roles, Releaser) {
			return wrong("%s may end the key of %s only as a releaser", by.ID, now.ID)
		}
	}
	return nil
}

// owner says whose key it is or was, "" for nobody's. A key never comes back.
func (r *Register) owner(key ed25519.PublicKey) string {
	if bytes.Equal(key, r.logKey) {
		return "the log"
	}
	for _, p := range r.keys {
		if bytes.Equal(p.Key, key) {
			return p.ID
		}
	}
	for id, inv := range r.pending {
		if bytes.Equal(inv.Key, key) {
			return id
		}
	}
	return ""
}

// Apply advances over an entry. It assumes that [Register.Check] allowed the
// entry and that its signature is good; it refuses what it can see is neither.
func (r *Register) Apply(e entry.Entry, signer string) error {
	switch e.Kind {
	case entry.Start:
		return r.applyStart(e, signer)
	case entry.Join:
		return r.applyJoin(e, signer)
	case entry.Accept:
		return r.applyAccept(e, signer)
	case entry.Retire:
		return r.applyRetire(e, signer)
	}
	return nil
}

func (r *Register) applyStart(e entry.Entry, signer string) error {
	name, key, err := ParseVKey(e.Text("key"))
	if err != nil {
		return err
	}
	if _, err := r.checkStart(e, signer, KeyHash(name, key)); err != nil {
		return err
	}
	roles, err := ParseRoles(e.Text("roles"))
	if err != nil {
		return err
	}
	r.logName, r.logKey, err = ParseVKey(e.Text("log-key"))
	if err != nil {
		return err
	}
	r.keys = append(r.keys, hold(Person{name, roles, key, e.Index, Forever, name}))
	r.started, r.pending = true, map[string]invitation{}
	return nil
}

func (r *Register) applyJoin(e entry.Entry, signer string) error {
	by, ok := r.Current(signer)
	if !ok {
		return r.MaySign(signer, e.Index, entry.Join)
	}
	if err := errors.Join(may(by, entry.Join), r.checkChange(e, by)); err != nil {
		return err
	}
	id, key, err := ParseVKey(e.Text("key"))
	if err != nil {
		return err
	}
	roles, err := ParseRoles(e.Text("roles"))
	if err != nil {
		return err
	}
	r.pending[id] = invitation{hold(Person{id, roles, key, Forever, Forever, signer}), e.Index}
	return nil
}

func (r *Register) applyAccept(e entry.Entry, signer string) error {
	inv, ok := r.pending[signer]
	if !ok {
		return wrong("%.64s was not introduced, so there is nothing to accept", signer)
	}
	if _, err := r.checkAccept(e, signer, inv.hash); err != nil {
		return err
	}
	r.end(signer, e.Index)
	inv.From = e.Index
	r.keys = append(r.keys, inv.held)
	delete(r.pending, signer)
	return nil
}

func (r *Register) applyRetire(e entry.Entry, signer string) error {
	by, ok := r.Current(signer)
	if !ok {
		return r.MaySign(signer, e.Index, entry.Retire)
	}
	if err := r.checkChange(e, by); err != nil {
		return err
	}
	r.end(e.Text("person"), e.Index)
	return nil
}

// end lets the current key of a person end with the entry at index.
func (r *Register) end(id string, index int64) {
	for i := range r.keys {
		if r.keys[i].ID == id && r.keys[i].Until == Forever {
			r.keys[i].Until = index
		}
	}
}
