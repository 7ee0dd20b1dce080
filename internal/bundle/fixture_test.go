package bundle_test

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/bundle"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
)

const (
	origin     = ledgertest.Origin
	nextOrigin = "hvproof/sandpiper/bench-2/aaaa"
	otherCar   = "hvproof/wren/bench-9/zzzz"
)

var made = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// sample is a log of 15 entries: the five of Begin, a run-start that names two
// blobs, readings by Okoro, one of them witnessed by Vance, and notes.
func sample(t testing.TB, origin string) *ledgertest.Memory {
	t.Helper()
	m := ledgertest.NewMemory()
	l := ledgertest.Begin(t, m, origin)
	o, err := entry.ParseOrigin(origin)
	require.NoError(t, err)
	b := entry.Body{Kind: entry.RunStart}
	b.Add("procedure", "discharge")
	for _, name := range []string{"plan", "meters"} {
		digest, err := m.PutBlob(t.Context(), []byte("the "+name))
		require.NoError(t, err)
		b.Add(name, fmt.Sprintf("%x", digest))
	}
	b.AddYes("practice", o.Practice)
	b.AddYes("rehearsal", false)
	b.Add("date", "2026-03-01")
	b.Add("operator", ledgertest.Okoro)
	ledgertest.Append(t, l, b, ledgertest.Okoro)
	var last entry.Entry
	var leaf [32]byte
	for i := range 4 {
		r := entry.Body{Kind: entry.Reading, Run: "k3f9-5", Path: fmt.Sprintf("step_%d", i)}
		r.AddNumber("attempt", 1)
		r.Add("text", "201.6 k")
		r.AddNumber("value", 201600)
		r.Add("unit", "Ω")
		last, leaf = ledgertest.Append(t, l, r, ledgertest.Okoro)
	}
	ledgertest.Append(t, l, ledgertest.Confirm(entry.Witness, last, leaf), ledgertest.Vance)
	for i := range 4 {
		ledgertest.Append(t, l, ledgertest.NoteBody(fmt.Sprintf("note %d, with µ, \u202E and <script>", i)), ledgertest.Mills)
	}
	require.Len(t, m.Logs[origin].Notes, 15)
	return m
}

// contents is what goes into the bundle of a storage.
func contents(t testing.TB, st ledger.Storage) bundle.Contents {
	t.Helper()
	origins, err := st.Origins(t.Context())
	require.NoError(t, err)
	return bundle.Contents{Storage: st, Origins: origins, Made: made, Program: "hvproof test", Files: []bundle.NamedBytes{
		{Name: "car/vehicle.yaml", Data: []byte("format: 1\nname: Sandpiper\n")}}}
}

func pack(t testing.TB, c bundle.Contents) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, bundle.Write(t.Context(), &b, c))
	return b.Bytes()
}

func open(data []byte) (*bundle.Bundle, error) {
	return bundle.Open(bytes.NewReader(data), int64(len(data)))
}

// verify gives the codes of all faults, as `hvproof verify` finds them; older
// is a bundle to compare with, nil for none.
func verify(t testing.TB, data, older []byte, evidence bool) []ledger.Code {
	t.Helper()
	b, err := open(data)
	if err != nil {
		require.IsType(t, &bundle.MalformedError{}, err)
		return []ledger.Code{ledger.MalformedEntry}
	}
	var codes []ledger.Code
	var reports []ledger.Report
	for _, o := range b.Logs {
		opt := ledger.VerifyOptions{AsEvidence: evidence}
		if older != nil {
			opt.Other, err = open(older)
			require.NoError(t, err)
		}
		r, err := ledger.Verify(context.Background(), b, o, opt)
		require.NoError(t, err)
		reports = append(reports, r)
		for _, f := range append(r.Faults, handedOver(t, b, o)...) {
			codes = append(codes, f.Code)
		}
	}
	for _, f := range b.Check(reports) {
		codes = append(codes, f.Code)
	}
	return codes
}

// handedOver gives what is wrong with the log that one of a bundle goes on
// from, if that is there.
func handedOver(t testing.TB, b *bundle.Bundle, origin string) (out []ledger.Finding) {
	t.Helper()
	_ = ledger.Read(context.Background(), b, origin, 0, 1, func(_ int64, e entry.Entry, _ string, _ []byte) error {
		p, ok := ledger.PredecessorOf(e)
		if ok && p.Origin != origin && slices.Contains(b.Logs, p.Origin) {
			var err error
			out, err = p.Check(context.Background(), b)
			require.NoError(t, err)
		}
		return nil
	})
	return out
}

// goOn begins a log on another device that goes on from the one of origin.
func goOn(t testing.TB, m *ledgertest.Memory) {
	t.Helper()
	r := m.Logs[origin]
	size := int64(len(r.Notes))
	root, err := tlog.TreeHash(size, reader(r))
	require.NoError(t, err)
	start := ledgertest.StartBody(t, nextOrigin)
	at := slices.IndexFunc(start.Fields, func(f entry.Field) bool { return f.Name == "predecessor" })
	start.Fields[at].Value = origin
	start.Fields = slices.Insert(start.Fields, at+1, entry.Field{Name: "predecessor-size", Value: fmt.Sprint(size)},
		entry.Field{Name: "predecessor-root", Value: entry.FormatHash(root)})
	l := ledgertest.Open(t, m, nextOrigin)
	ledgertest.Append(t, l, start, ledgertest.Mills)
	b := entry.Body{Kind: entry.HandOver}
	b.Add("from", origin)
	b.Add("log-size", fmt.Sprint(size))
	b.Add("log-root", entry.FormatHash(root))
	b.Add("device", "bench-2")
	ledgertest.Append(t, l, b, ledgertest.Mills)
}

// text prints an entry that is the next of the log.
func text(t testing.TB, m *ledgertest.Memory, origin string, body entry.Body) []byte {
	t.Helper()
	r := m.Logs[origin]
	size := int64(len(r.Notes))
	root, err := tlog.TreeHash(size, reader(r))
	require.NoError(t, err)
	b, err := entry.Marshal(entry.Entry{Header: entry.Header{Origin: origin, Index: size, Root: root, Time: time.Unix(1772400000+size, 0),
		Zone: "+01:00", Uptime: 1, Boot: "boot-1", Version: "v0.1.0"}, Body: body})
	require.NoError(t, err)
	return b
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

func signed(t testing.TB, text []byte, name string) []byte {
	t.Helper()
	raw, err := note.Sign(&note.Note{Text: string(text)}, ledgertest.Signer(t, name))
	require.NoError(t, err)
	return raw
}

// force appends a note that Log.Append may refuse, with the checkpoint that
// belongs to it.
func force(t testing.TB, m *ledgertest.Memory, origin string, raw []byte) {
	t.Helper()
	r := m.Logs[origin]
	hashes, err := tlog.StoredHashes(int64(len(r.Notes)), raw, reader(r))
	require.NoError(t, err)
	r.Notes, r.Hashes = append(r.Notes, raw), append(r.Hashes, hashes...)
	seal(t, m, origin)
}

// seal signs the checkpoint of the notes that are there.
func seal(t testing.TB, m *ledgertest.Memory, origin string) {
	t.Helper()
	r := m.Logs[origin]
	size := int64(len(r.Notes))
	root, err := tlog.TreeHash(size, reader(r))
	require.NoError(t, err)
	r.Checkpoint, err = ledger.SignCheckpoint(origin, size, root, ledgertest.Signer(t, origin))
	require.NoError(t, err)
}

func replace(t testing.TB, raw []byte, old, with string) []byte {
	t.Helper()
	require.Equal(t, 1, bytes.Count(raw, []byte(old)), "%q stands there once", old)
	return bytes.Replace(raw, []byte(old), []byte(with), 1)
}
