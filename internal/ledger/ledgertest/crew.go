package ledgertest

import (
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// The crew of [Begin], invented.
const (
	Mills = "r.mills" // operator and releaser; entry 0
	Okoro = "s.okoro" // operator and witness
	Vance = "d.vance" // witness and releaser
)

// Origin is a log that is not practice.
const Origin = "hvproof/sandpiper/bench-1/k3f9"

// Key is the fixed private key of a name (a person's id, an origin). It is no
// secret: never use it outside tests.
func Key(name string) ed25519.PrivateKey {
	seed := sha256.Sum256([]byte("hvproof test key of " + name))
	return ed25519.NewKeyFromSeed(seed[:])
}

// VKey is the public half of [Key] as text.
func VKey(name string) string {
	return people.VKey(name, Key(name).Public().(ed25519.PublicKey))
}

// Signer signs as a name with its [Key].
func Signer(t testing.TB, name string) note.Signer {
	t.Helper()
	s, err := ledger.NewSigner(name, Key(name))
	require.NoError(t, err)
	return s
}

// Clock starts at 2026-03-01 08:00 UTC and goes on by a second for each entry.
func Clock() ledger.Clock {
	var mu sync.Mutex
	ticks := 0
	tick := func() int {
		mu.Lock()
		defer mu.Unlock()
		ticks++
		return ticks
	}
	begin := time.Date(2026, 3, 1, 9, 0, 0, 0, time.FixedZone("", 3600))
	return ledger.Clock{
		Now:    func() time.Time { return begin.Add(time.Duration(tick()) * time.Second) },
		Uptime: func() float64 { return 12.5 },
		Boot:   "boot-1", Version: "v0.1.0",
	}
}

// StartBody is an entry 0 by Mills for the log of that origin.
func StartBody(t testing.TB, origin string) entry.Body {
	t.Helper()
	o, err := entry.ParseOrigin(origin)
	require.NoError(t, err)
	b := entry.Body{Kind: entry.Start}
	b.Add("car", o.Car)
	b.Add("name", "Sandpiper")
	b.AddYes("practice", o.Practice)
	b.Add("predecessor", "none")
	b.Add("person", Mills)
	b.Add("roles", "operator releaser")
	b.Add("key", VKey(Mills))
	b.Add("log-key", VKey(origin))
	return b
}

// Open opens a log with its fixed key.
func Open(t testing.TB, st ledger.Storage, origin string) *ledger.Log {
	t.Helper()
	l, err := ledger.Open(context.Background(), st, origin, Signer(t, origin), Clock())
	require.NoError(t, err)
	return l
}

// Begin starts a log with five entries: entry 0 by Mills, who then introduces
// Okoro and Vance, who accept.
func Begin(t testing.TB, st ledger.Storage, origin string) *ledger.Log {
	t.Helper()
	l := Open(t, st, origin)
	Append(t, l, StartBody(t, origin), Mills)
	Introduce(t, l, Mills, Okoro, "operator witness")
	Introduce(t, l, Mills, Vance, "witness releaser")
	return l
}

// Introduce appends a join of a person by another, and the acceptance.
func Introduce(t testing.TB, l *ledger.Log, by, id, roles string) {
	t.Helper()
	join := entry.Body{Kind: entry.Join}
	join.Add("person", id)
	join.Add("roles", roles)
	join.Add("key", VKey(id))
	e, leaf := Append(t, l, join, by)
	Append(t, l, Confirm(entry.Accept, e, leaf), id)
}

// Confirm is an entry of a kind that names another entry.
func Confirm(kind entry.Kind, of entry.Entry, leaf [32]byte) entry.Body {
	b := entry.Body{Kind: kind}
	b.AddNumber("entry", float64(of.Index))
	b.Add("leaf", entry.FormatHash(leaf))
	return b
}

// NoteBody is a note with that text.
func NoteBody(text string) entry.Body {
	b := entry.Body{Kind: entry.Note}
	b.Add("text", text)
	return b
}

// Append appends an entry that must be accepted.
func Append(t testing.TB, l *ledger.Log, body entry.Body, signer string) (entry.Entry, [32]byte) {
	t.Helper()
	e, leaf, err := l.Append(context.Background(), body, Signer(t, signer))
	require.NoError(t, err)
	return e, leaf
}
