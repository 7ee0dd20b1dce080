package ledger_test

import (
	"bytes"
	"crypto/ed25519"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/people"
)

const origin = ledgertest.Origin

// sample is a log of 15 entries: the five of Begin, a run-start that names two
// blobs, readings by Okoro, one of them witnessed by Vance, and notes.
func sample(t testing.TB) *ledgertest.Memory {
	t.Helper()
	return sampleOf(t, origin)
}

func sampleOf(t testing.TB, origin string) *ledgertest.Memory {
	t.Helper()
	m := ledgertest.NewMemory()
	l := ledgertest.Begin(t, m, origin)
	ledgertest.Append(t, l, runStart(t, m, origin), ledgertest.Okoro)
	var last entry.Entry
	var leaf [32]byte
	for i := range 4 {
		last, leaf = ledgertest.Append(t, l, reading(i), ledgertest.Okoro)
	}
	ledgertest.Append(t, l, ledgertest.Confirm(entry.Witness, last, leaf), ledgertest.Vance)
	for i := range 4 {
		ledgertest.Append(t, l, ledgertest.NoteBody(fmt.Sprintf("note %d", i)), ledgertest.Mills)
	}
	require.Len(t, m.Logs[origin].Notes, 15)
	return m
}

func runStart(t testing.TB, st ledger.Storage, origin string) entry.Body {
	t.Helper()
	o, err := entry.ParseOrigin(origin)
	require.NoError(t, err)
	b := entry.Body{Kind: entry.RunStart}
	b.Add("procedure", "discharge")
	for _, name := range []string{"plan", "meters"} {
		digest, err := st.PutBlob(t.Context(), []byte("the "+name))
		require.NoError(t, err)
		b.Add(name, fmt.Sprintf("%x", digest))
	}
	b.AddYes("practice", o.Practice)
	b.AddYes("rehearsal", false)
	b.Add("date", "2026-03-01")
	b.Add("operator", ledgertest.Okoro)
	return b
}

func reading(i int) entry.Body {
	b := entry.Body{Kind: entry.Reading, Run: "k3f9-5", Path: fmt.Sprintf("step_%d", i)}
	b.AddNumber("attempt", 1)
	b.Add("text", "201.6 k")
	b.AddNumber("value", 201600)
	b.Add("unit", "Ω")
	return b
}

// header is that of the next entry of a log.
func header(t testing.TB, m *ledgertest.Memory, origin string) entry.Header {
	t.Helper()
	r := m.Logs[origin]
	if r == nil {
		r = &ledgertest.Records{}
	}
	size := int64(len(r.Notes))
	root, err := tlog.TreeHash(size, reader(r))
	require.NoError(t, err)
	return entry.Header{Origin: origin, Index: size, Root: root, Time: time.Unix(1772400000+size, 0),
		Zone: "+01:00", Uptime: 1, Boot: "boot-1", Version: "v0.1.0"}
}

func reader(r *ledgertest.Records) tlog.HashReader {
	return tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		list := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			list[i] = r.Hashes[index]
		}
		return list, nil
	})
}

// text prints an entry that is the next of the log.
func text(t testing.TB, m *ledgertest.Memory, origin string, body entry.Body) []byte {
	t.Helper()
	b, err := entry.Marshal(entry.Entry{Header: header(t, m, origin), Body: body})
	require.NoError(t, err)
	return b
}

func signed(t testing.TB, text []byte, name string) []byte {
	t.Helper()
	raw, err := note.Sign(&note.Note{Text: string(text)}, ledgertest.Signer(t, name))
	require.NoError(t, err)
	return raw
}

// force appends a note that Log.Append may refuse, with the tree hashes and
// the checkpoint that belong to it.
func force(t testing.TB, m *ledgertest.Memory, origin string, raw []byte) {
	t.Helper()
	r := m.Logs[origin]
	if r == nil {
		r = &ledgertest.Records{}
		m.Logs[origin] = r
	}
	hashes, err := tlog.StoredHashes(int64(len(r.Notes)), raw, reader(r))
	require.NoError(t, err)
	r.Notes, r.Hashes = append(r.Notes, raw), append(r.Hashes, hashes...)
	size := int64(len(r.Notes))
	root, err := tlog.TreeHash(size, reader(r))
	require.NoError(t, err)
	r.Checkpoint, err = ledger.SignCheckpoint(origin, size, root, ledgertest.Signer(t, origin))
	require.NoError(t, err)
}

func forceBody(t testing.TB, m *ledgertest.Memory, origin string, body entry.Body, name string) {
	t.Helper()
	force(t, m, origin, signed(t, text(t, m, origin, body), name))
}

// rebuild puts the notes into a new log with the tree that belongs to them.
func rebuild(t testing.TB, m *ledgertest.Memory, notes [][]byte) {
	t.Helper()
	m.Logs[origin] = &ledgertest.Records{}
	for _, raw := range notes {
		force(t, m, origin, raw)
	}
}

func replace(t testing.TB, raw []byte, old, with string) []byte {
	t.Helper()
	require.Equal(t, 1, bytes.Count(raw, []byte(old)), "%q stands there once", old)
	return bytes.Replace(raw, []byte(old), []byte(with), 1)
}

func verify(t testing.TB, m *ledgertest.Memory, opt ledger.VerifyOptions) ledger.Report {
	t.Helper()
	report, err := ledger.Verify(t.Context(), m, origin, opt)
	require.NoError(t, err)
	return report
}

func signWith(text []byte, s note.Signer) ([]byte, error) {
	return note.Sign(&note.Note{Text: string(text)}, s)
}

func textOf(t testing.TB, raw []byte) []byte {
	t.Helper()
	n, err := ledger.OpenNote(raw)
	require.NoError(t, err)
	return bytes.Clone(n.Text)
}

// resign alters a note and signs it again.
func resign(t testing.TB, raw []byte, old, with, name string) []byte {
	t.Helper()
	return signed(t, replace(t, textOf(t, raw), old, with), name)
}

// resignRoot gives a note the root of the log as it is in m and signs it again.
func resignRoot(t testing.TB, m *ledgertest.Memory, raw []byte, name string) []byte {
	t.Helper()
	e, err := entry.Parse(textOf(t, raw))
	require.NoError(t, err)
	e.Root = header(t, m, origin).Root
	b, err := entry.Marshal(e)
	require.NoError(t, err)
	return signed(t, b, name)
}

func publicKey(name string) ed25519.PublicKey {
	return ledgertest.Key(name).Public().(ed25519.PublicKey)
}

func join(id string) entry.Body {
	b := entry.Body{Kind: entry.Join}
	b.Add("person", id)
	b.Add("roles", "operator")
	b.Add("key", ledgertest.VKey(id))
	return b
}

func retire(id string) entry.Body {
	b := entry.Body{Kind: entry.Retire}
	b.Add("person", id)
	b.Add("key", ledgertest.VKey(id))
	b.Add("reason", "left the team")
	return b
}

// confirm is an entry about entry of, with the right leaf hash.
func confirm(t testing.TB, m *ledgertest.Memory, kind entry.Kind, of int) entry.Body {
	t.Helper()
	return ledgertest.Confirm(kind, entry.Entry{Header: entry.Header{Index: int64(of)}}, ledger.Leaf(records(m).Notes[of]))
}

func vkeyAs(id, keyName string) string { return people.VKey(id, publicKey(keyName)) }
