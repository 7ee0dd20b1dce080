package ledger_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
)

func TestAppend(t *testing.T) {
	m := ledgertest.NewMemory()
	l := ledgertest.Open(t, m, origin)
	assert.Equal(t, int64(0), l.Size())
	assert.Nil(t, l.Checkpoint())
	ledgertest.Append(t, l, ledgertest.StartBody(t, origin), ledgertest.Mills)
	e, leaf := ledgertest.Append(t, l, ledgertest.NoteBody("done"), ledgertest.Mills)
	raw := records(m).Notes[1]
	assert.Equal(t, [32]byte(ledger.Leaf(raw)), leaf)
	parsed, err := entry.Parse(textOf(t, raw))
	require.NoError(t, err)
	assert.Equal(t, parsed, e, "what is returned is what lies there")
	assert.Equal(t, int64(1), e.Index)
	assert.Equal(t, "+01:00", e.Zone)
	assert.Equal(t, "2026-03-01T08:00:02.000000000Z", entry.FormatTime(e.Time))
	first := ledger.Leaf(records(m).Notes[0])
	assert.Equal(t, [32]byte(first), e.Root, "the root over one entry is its leaf")
	assert.Equal(t, records(m).Checkpoint, l.Checkpoint())
	assert.Equal(t, int64(2), l.Size())
}

// TestAppendRefuses: what Verify would fault is not written at all.
func TestAppendRefuses(t *testing.T) {
	m := sample(t)
	l := ledgertest.Open(t, m, origin)
	before := m.Clone()
	missingBlob := runStart(t, m, origin)
	delete(m.Blobs, missingBlob.Blobs()[0])
	wrongLeaf := entry.Body{Kind: entry.Witness}
	wrongLeaf.Add("entry", "7")
	wrongLeaf.Add("leaf", entry.FormatHash([32]byte{1}))
	notFinite := entry.Body{Kind: entry.Wait}
	notFinite.Add("seconds", "NaN")
	for name, c := range map[string]struct {
		body   entry.Body
		signer string
	}{
		"unknown person":        {ledgertest.NoteBody("x"), "n.obody"},
		"no role for it":        {reading(9), ledgertest.Vance},
		"witness of own":        {confirm(t, m, entry.Witness, 7), ledgertest.Okoro},
		"witness of other hash": {wrongLeaf, ledgertest.Vance},
		"second start":          {ledgertest.StartBody(t, origin), ledgertest.Mills},
		"schema":                {entry.Body{Kind: entry.Note}, ledgertest.Mills},
		"number":                {notFinite, ledgertest.Okoro},
		"unknown kind":          {entry.Body{Kind: "dance"}, ledgertest.Mills},
		"missing blob":          {missingBlob, ledgertest.Okoro},
		"practice":              {runStart(t, ledgertest.NewMemory(), origin+"/practice"), ledgertest.Okoro},
	} {
		t.Run(name, func(t *testing.T) {
			_, _, err := l.Append(t.Context(), c.body, ledgertest.Signer(t, c.signer))
			require.ErrorIs(t, err, ledger.ErrRefused)
		})
	}
	impostor, err := ledger.NewSigner(ledgertest.Mills, ledgertest.Key("somebody else"))
	require.NoError(t, err)
	_, _, err = l.Append(t.Context(), ledgertest.NoteBody("x"), impostor)
	require.ErrorIs(t, err, ledger.ErrRefused)
	_, _, err = l.Append(t.Context(), ledgertest.NoteBody("x"), liar{ledgertest.Signer(t, ledgertest.Mills)})
	require.ErrorIs(t, err, ledger.ErrRefused, "a signature that is none")
	assert.Equal(t, before.Logs, m.Logs, "nothing was written")
	ledgertest.Append(t, l, ledgertest.NoteBody("and it still works"), ledgertest.Mills)
}

type signer interface {
	Name() string
	KeyHash() uint32
	Sign(msg []byte) ([]byte, error)
}

// liar signs something else than it is given.
type liar struct{ signer }

func (l liar) Sign(msg []byte) ([]byte, error) { return l.signer.Sign(append(msg, '!')) }

// interrupted lets somebody else append first, a number of times.
type interrupted struct {
	*ledgertest.Memory
	times  int
	before func()
	asked  int
}

func (s *interrupted) Append(ctx context.Context, origin string, expected int64, notes [][]byte, hashes []tlog.Hash, checkpoint []byte) error {
	s.asked++
	if s.times > 0 {
		s.times--
		s.before()
	}
	return s.Memory.Append(ctx, origin, expected, notes, hashes, checkpoint)
}

// TestAppendMoved: whoever comes second signs again with the new index and
// root, and nobody is asked anything.
func TestAppendMoved(t *testing.T) {
	m := sample(t)
	other := ledgertest.Open(t, m, origin)
	st := &interrupted{Memory: m, times: 3, before: func() {
		ledgertest.Append(t, other, ledgertest.NoteBody("me first"), ledgertest.Mills)
	}}
	l := ledgertest.Open(t, st, origin)
	e, _ := ledgertest.Append(t, l, ledgertest.NoteBody("me second"), ledgertest.Okoro)
	assert.Equal(t, int64(18), e.Index)
	assert.Equal(t, 4, st.asked)
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults)

	// Retired while waiting: the second try is refused, not written.
	st.times, st.before = 1, func() { ledgertest.Append(t, other, retire(ledgertest.Okoro), ledgertest.Mills) }
	_, _, err := l.Append(t.Context(), ledgertest.NoteBody("x"), ledgertest.Signer(t, ledgertest.Okoro))
	require.ErrorIs(t, err, ledger.ErrRefused)

	st.times, st.before = 1000, func() { ledgertest.Append(t, other, ledgertest.NoteBody("x"), ledgertest.Mills) }
	_, _, err = l.Append(t.Context(), ledgertest.NoteBody("x"), ledgertest.Signer(t, ledgertest.Mills))
	require.ErrorIs(t, err, ledger.ErrMoved, "not for ever")
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults)
}

// TestAppendFailing: an error of the storage leaves the log as it was.
func TestAppendFailing(t *testing.T) {
	m := sample(t)
	full := errors.New("disk full")
	st := &failing{Memory: m, err: full}
	l := ledgertest.Open(t, st, origin)
	loss := entry.Body{Kind: entry.Retire}
	loss.Fields = retire(ledgertest.Okoro).Fields
	_, _, err := l.Append(t.Context(), loss, ledgertest.Signer(t, ledgertest.Mills))
	require.ErrorIs(t, err, full)
	assert.Equal(t, int64(15), l.Size())
	st.err = nil
	ledgertest.Append(t, l, ledgertest.NoteBody("okoro still may"), ledgertest.Okoro)
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults)
}

type failing struct {
	*ledgertest.Memory
	err error
}

func (s *failing) Append(ctx context.Context, origin string, expected int64, notes [][]byte, hashes []tlog.Hash, checkpoint []byte) error {
	if s.err != nil {
		return s.err
	}
	return s.Memory.Append(ctx, origin, expected, notes, hashes, checkpoint)
}

// TestOpenRefuses: on what does not add up nothing is built.
func TestOpenRefuses(t *testing.T) {
	for name, mutate := range map[string]func(m *ledgertest.Memory){
		"hash on the edge": func(m *ledgertest.Memory) { records(m).Hashes[14][0] ^= 1 }, // of entries 0 to 7
		"note altered":     func(m *ledgertest.Memory) { records(m).Notes[7] = replace(t, records(m).Notes[7], "201600", "301600") },
		"join altered": func(m *ledgertest.Memory) {
			records(m).Notes[1] = replace(t, records(m).Notes[1], "operator witness", "operator releaser")
		},
		"note gone":         func(m *ledgertest.Memory) { records(m).Notes[7] = nil },
		"checkpoint gone":   func(m *ledgertest.Memory) { records(m).Checkpoint = nil },
		"checkpoint's root": func(m *ledgertest.Memory) { records(m).Checkpoint = records(sampleLonger(t)).Checkpoint },
	} {
		t.Run(name, func(t *testing.T) {
			m := sample(t)
			mutate(m)
			_, err := ledger.Open(t.Context(), m, origin, ledgertest.Signer(t, origin), ledgertest.Clock())
			require.Error(t, err)
			assert.Contains(t, err.Error(), "hvproof verify")
		})
	}
	m := sample(t)
	_, err := ledger.Open(t.Context(), m, origin, ledgertest.Signer(t, ledgertest.Mills), ledgertest.Clock())
	require.Error(t, err, "a key with another name")
	stranger, err := ledger.NewSigner(origin, ledgertest.Key("another device"))
	require.NoError(t, err)
	_, err = ledger.Open(t.Context(), m, origin, stranger, ledgertest.Clock())
	require.Error(t, err, "another log's key")
	_, err = ledger.Open(t.Context(), m, "hvproof", stranger, ledgertest.Clock())
	require.Error(t, err)
}

func sampleLonger(t *testing.T) *ledgertest.Memory {
	m := sample(t)
	ledgertest.Append(t, ledgertest.Open(t, m, origin), ledgertest.NoteBody("x"), ledgertest.Mills)
	return m
}

// TestLoss: a log that is shorter than remembered takes nothing but the
// releaser's signature for the loss; from then on it goes on.
func TestLoss(t *testing.T) {
	m := sample(t)
	remembered := records(sampleLonger(t)).Checkpoint
	c, err := ledger.ParseCheckpoint(remembered)
	require.NoError(t, err)
	l := ledgertest.Open(t, m, origin)
	require.NoError(t, l.Remembered(t.Context(), records(m).Checkpoint))
	require.ErrorIs(t, l.Remembered(t.Context(), remembered), ledger.ErrLost)

	loss := func(size int64) entry.Body {
		b := entry.Body{Kind: entry.Loss}
		b.Add("log-size", fmt.Sprint(size))
		b.Add("log-root", c.Root.String())
		b.Add("reason", "the disk was replaced by an older copy")
		return b
	}
	for name, try := range map[string]struct {
		body entry.Body
		by   string
		want error
	}{
		"anything else":   {ledgertest.NoteBody("x"), ledgertest.Mills, ledger.ErrLost},
		"another loss":    {loss(17), ledgertest.Mills, ledger.ErrLost},
		"not by releaser": {loss(16), ledgertest.Okoro, ledger.ErrRefused},
	} {
		_, _, err := l.Append(t.Context(), try.body, ledgertest.Signer(t, try.by))
		require.ErrorIs(t, err, try.want, name)
	}
	report := verify(t, m, ledger.VerifyOptions{Remembered: remembered})
	require.Len(t, report.Faults, 1)
	assert.Equal(t, ledger.RolledBack, report.Faults[0].Code)

	ledgertest.Append(t, l, loss(16), ledgertest.Mills)
	ledgertest.Append(t, l, ledgertest.NoteBody("on we go"), ledgertest.Okoro)
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{Remembered: remembered}).Faults)
	require.NoError(t, ledgertest.Open(t, m, origin).Remembered(t.Context(), remembered))

	// Another history of the same length is no better.
	other := sample(t)
	ol := ledgertest.Open(t, other, origin)
	ledgertest.Append(t, ol, ledgertest.NoteBody("y"), ledgertest.Mills)
	require.ErrorIs(t, ol.Remembered(t.Context(), remembered), ledger.ErrLost)
	require.Error(t, ol.Remembered(t.Context(), []byte("rubbish")))
}

func TestRead(t *testing.T) {
	m := sample(t)
	var got []int64
	collect := func(index int64, e entry.Entry, signer string, raw []byte) error {
		got = append(got, index)
		return nil
	}
	require.NoError(t, ledger.Read(t.Context(), m, origin, 3, 6, collect))
	assert.Equal(t, []int64{3, 4, 5}, got)
	require.Error(t, ledger.Read(t.Context(), m, origin, 14, 16, collect), "beyond the end")
	records(m).Notes[4] = nil
	require.Error(t, ledger.Read(t.Context(), m, origin, 3, 6, collect), "a gap")
	records(m).Notes[4] = records(m).Notes[5]
	require.Error(t, ledger.Read(t.Context(), m, origin, 3, 6, collect), "another entry")
}

// TestRotation: a person gets a new key, and the old one is refused.
func TestRotation(t *testing.T) {
	m := sample(t)
	l := ledgertest.Open(t, m, origin)
	b := join(ledgertest.Okoro)
	fresh, err := ledger.NewSigner(ledgertest.Okoro, ledgertest.Key("okoro's new key"))
	require.NoError(t, err)
	for i := range b.Fields {
		if b.Fields[i].Name == "key" {
			b.Fields[i].Value = vkeyAs(ledgertest.Okoro, "okoro's new key")
		}
	}
	e, leaf := ledgertest.Append(t, l, b, ledgertest.Vance)
	_, _, err = l.Append(t.Context(), ledgertest.Confirm(entry.Accept, e, leaf), ledgertest.Signer(t, ledgertest.Okoro))
	require.ErrorIs(t, err, ledger.ErrRefused, "the old key cannot accept for the new one")
	_, _, err = l.Append(t.Context(), ledgertest.Confirm(entry.Accept, e, leaf), fresh)
	require.NoError(t, err)
	_, _, err = l.Append(t.Context(), ledgertest.NoteBody("x"), ledgertest.Signer(t, ledgertest.Okoro))
	require.ErrorIs(t, err, ledger.ErrRefused)
	_, _, err = l.Append(t.Context(), ledgertest.NoteBody("x"), fresh)
	require.NoError(t, err)
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults)
	p, ok := l.People().Current(ledgertest.Okoro)
	require.True(t, ok)
	assert.Equal(t, ledgertest.Vance, p.IntroducedBy)
}
