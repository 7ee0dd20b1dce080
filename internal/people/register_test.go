package people

import (
	"crypto/ed25519"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
)

const origin = "hvproof/sandpiper/bench-1/k3f9"

func keyOf(name string) ed25519.PublicKey {
	seed := make([]byte, 32)
	copy(seed, name)
	return ed25519.NewKeyFromSeed(seed).Public().(ed25519.PublicKey)
}

// story folds entries and remembers the next index.
type story struct {
	*testing.T
	Register
	next int64
}

func (s *story) entry(kind entry.Kind, fields ...string) entry.Entry {
	e := entry.Entry{Header: entry.Header{Origin: origin, Index: s.next}, Body: entry.Body{Kind: kind}}
	for i := 0; i < len(fields); i += 2 {
		e.Add(fields[i], fields[i+1])
	}
	return e
}

// tell says an entry as signer with a key; want is the error, nil for none.
func (s *story) tell(want error, signer, keyName string, kind entry.Kind, fields ...string) {
	s.Helper()
	e := s.entry(kind, fields...)
	_, err := s.Check(e, signer, KeyHash(signer, keyOf(keyName)))
	if want != nil {
		require.ErrorIs(s, err, want)
		require.NotEmpty(s, err.Error())
		return
	}
	require.NoError(s, err)
	require.NoError(s, s.Apply(e, signer))
	s.next++
}

func (s *story) start() {
	s.Helper()
	s.tell(nil, "a", "a", entry.Start, "person", "a", "roles", "operator releaser", "key", VKey("a", keyOf("a")),
		"log-key", VKey(origin, keyOf("the log")))
}

func (s *story) join(want error, by, id, keyName, roles string) {
	s.Helper()
	s.tell(want, by, by, entry.Join, "person", id, "roles", roles, "key", VKey(id, keyOf(keyName)))
}

func (s *story) accept(want error, id, keyName string) {
	s.Helper()
	index := int64(-1)
	if i, ok := s.Invitation(id); ok {
		index = i
	}
	s.tell(want, id, keyName, entry.Accept, "entry", fmt.Sprint(index))
}

func TestRegister(t *testing.T) {
	s := &story{T: t}
	s.tell(ErrWrongSigner, "a", "a", entry.Note)
	assert.Empty(t, s.Warnings())
	s.start()
	name, logKey := s.LogKey()
	assert.Equal(t, origin, name)
	assert.Equal(t, keyOf("the log"), logKey)
	assert.Len(t, s.Warnings(), 1, "one releaser")
	s.tell(ErrWrongSigner, "a", "a", entry.Start, "person", "a", "key", VKey("a", keyOf("a")))

	s.join(ErrWrongSigner, "b", "b", "b", "operator")
	s.join(nil, "a", "b", "b", "operator witness")
	s.tell(ErrWrongSigner, "b", "b", entry.Note) // not accepted yet
	assert.Equal(t, "b", s.Pending()[0].ID)
	require.ErrorIs(t, s.MaySign("b", s.next, entry.Note), ErrWrongSigner)
	require.NoError(t, s.MaySign("b", s.next, entry.Accept))
	s.tell(ErrWrongSigner, "b", "b", entry.Accept, "entry", "0")
	s.accept(ErrWrongSigner, "b", "x")
	s.accept(ErrWrongSigner, "c", "c")
	s.accept(nil, "b", "b")
	s.accept(ErrWrongSigner, "b", "b")
	s.tell(nil, "b", "b", entry.Note)
	s.tell(nil, "b", "b", entry.Reading)
	s.tell(ErrWrongSigner, "b", "b", entry.Permit)
	s.tell(ErrWrongSigner, "b", "x", entry.Note)
	s.join(ErrWrongSigner, "b", "c", "c", "operator")

	// Keys are nobody's twice, and not weak.
	s.join(ErrWrongSigner, "a", "c", "b", "operator")
	s.join(ErrWrongSigner, "a", "c", "the log", "operator")
	weak := make(ed25519.PublicKey, 32)
	s.tell(ErrWrongSigner, "a", "a", entry.Join, "person", "c", "roles", "operator", "key", VKey("c", weak))
	s.tell(ErrWrongSigner, "a", "a", entry.Join, "person", "c", "roles", "operator", "key", VKey("d", keyOf("c")))
	s.join(nil, "a", "c", "c", "releaser")
	s.join(ErrWrongSigner, "a", "d", "c", "operator") // c's, though not accepted yet
	s.accept(nil, "c", "c")
	assert.Empty(t, s.Warnings())

	// A new key ends the old one.
	before := s.next
	s.join(nil, "c", "b", "b2", "operator")
	s.tell(nil, "b", "b", entry.Note)
	s.accept(nil, "b", "b2")
	s.tell(ErrRetired, "b", "b", entry.Note)
	s.tell(nil, "b", "b2", entry.Note)
	s.tell(ErrWrongSigner, "b", "b2", entry.Witness)
	s.join(ErrWrongSigner, "a", "d", "b", "operator") // an ended key does not come back
	assert.NoError(t, s.MaySign("b", before, entry.Witness), "as it was then")
	assert.ErrorIs(t, s.MaySign("b", s.next, entry.Witness), ErrWrongSigner)

	// Retiring.
	key := func(name, keyName string) string { return VKey(name, keyOf(keyName)) }
	s.tell(ErrWrongSigner, "b", "b2", entry.Retire, "person", "c", "key", key("c", "c"))
	s.tell(ErrWrongSigner, "a", "a", entry.Retire, "person", "b", "key", key("b", "b"))
	for _, none := range []string{"", "b", key("b", "b2") + "=", key("c", "c"), key("c", "b2")} {
		s.tell(ErrWrongSigner, "a", "a", entry.Retire, "person", "b", "key", none)
	}
	s.tell(ErrWrongSigner, "a", "a", entry.Retire, "person", "nobody", "key", key("nobody", "b2"))
	s.tell(nil, "a", "a", entry.Retire, "person", "b", "key", key("b", "b2"))
	s.tell(ErrRetired, "b", "b2", entry.Note)
	assert.ErrorIs(t, s.MaySign("b", s.next, entry.Note), ErrRetired)
	assert.ErrorIs(t, s.MaySign("nobody", s.next, entry.Note), ErrWrongSigner)
	s.tell(nil, "c", "c", entry.Retire, "person", "c", "key", key("c", "c"))
	s.tell(nil, "a", "a", entry.Retire, "person", "a", "key", key("a", "a"))
	assert.Contains(t, s.Warnings()[0], "nobody")

	var lines []string
	for _, p := range s.Persons() {
		lines = append(lines, fmt.Sprint(p.ID, " ", FormatRoles(p.Roles), " ", p.From, "-", p.Until, " by ", p.IntroducedBy))
	}
	assert.Equal(t, []string{"a operator releaser 0-13 by a", "b operator witness 2-9 by a", "c releaser 6-12 by a",
		"b operator 9-11 by c"}, lines)
}

func TestStartRefused(t *testing.T) {
	good := []string{"person", "a", "roles", "releaser", "key", VKey("a", keyOf("a")), "log-key", VKey(origin, keyOf("the log"))}
	for name, change := range map[string]func(f []string){
		"another person":   func(f []string) { f[1] = "b" },
		"no log's key":     func(f []string) { f[7] = "" },
		"log's key's name": func(f []string) { f[7] = VKey("hvproof/x/y/z", keyOf("the log")) },
		"the same key":     func(f []string) { f[7] = VKey(origin, keyOf("a")) },
		"a weak key":       func(f []string) { f[5] = VKey("a", make([]byte, 32)) },
		"another key":      func(f []string) { f[5] = VKey("a", keyOf("b")) },
		"a weak log's key": func(f []string) { f[7] = VKey(origin, make([]byte, 32)) },
	} {
		t.Run(name, func(t *testing.T) {
			fields := append([]string(nil), good...)
			change(fields)
			s := &story{T: t}
			s.tell(ErrWrongSigner, "a", "a", entry.Start, fields...)
			assert.Empty(t, s.Persons())
		})
	}
	s := &story{T: t, next: 1}
	s.tell(ErrWrongSigner, "a", "a", entry.Start, good...)
}

// TestCloneIsIndependent: what is tried on a copy leaves the original alone.
func TestCloneIsIndependent(t *testing.T) {
	s := &story{T: t}
	s.start()
	c := s.Clone()
	require.NoError(t, c.Apply(s.entry(entry.Retire, "person", "a", "key", VKey("a", keyOf("a"))), "a"))
	require.NoError(t, s.MaySign("a", 5, entry.Note))
	require.Error(t, c.MaySign("a", 5, entry.Note))
}

func TestRightsCoverEveryKind(t *testing.T) {
	for _, k := range entry.Kinds() {
		if k == entry.Start || k == entry.Accept {
			assert.Empty(t, rights[k])
			continue
		}
		assert.NotEmpty(t, rights[k], "%s: nobody may sign it", k)
	}
	assert.Len(t, rights, len(entry.Kinds())-2)
	for _, k := range []entry.Kind{entry.Permit, entry.Sanction, entry.Release, entry.Loss, entry.Join, entry.HandOver, entry.Baseline} {
		assert.Equal(t, []Role{Releaser}, rights[k])
	}
	assert.True(t, mayDo([]Role{Witness}, "tap-dance"), "the unknown kind is the fault, not the signer")
}

func TestRoles(t *testing.T) {
	roles, err := ParseRoles("operator releaser")
	require.NoError(t, err)
	assert.Equal(t, []Role{Operator, Releaser}, roles)
	assert.Equal(t, "operator releaser", FormatRoles([]Role{Releaser, Operator, Releaser}))
	_, err = ParseRoles("operator boss")
	require.Error(t, err)
}
