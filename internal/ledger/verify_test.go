package ledger_test

import (
	"bytes"
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/people"
)

func TestVerifyGoodLog(t *testing.T) {
	m := sample(t)
	var seen []int64
	var signers []string
	report := verify(t, m, ledger.VerifyOptions{
		Remembered: m.Logs[origin].Checkpoint, Against: [][]byte{m.Logs[origin].Checkpoint}, Other: m.Clone(), AsEvidence: true,
		Observer: func(index int64, e entry.Entry, signer string, raw []byte) {
			assert.Equal(t, index, e.Index)
			assert.Equal(t, m.Logs[origin].Notes[index], raw)
			seen, signers = append(seen, index), append(signers, signer)
		},
	})
	assert.Empty(t, report.Faults)
	assert.True(t, report.OK())
	assert.Equal(t, int64(15), report.Entries)
	assert.False(t, report.Practice)
	assert.Regexp(t, `^(\d{5} ){11}\d{5}$`, report.Fingerprint)
	assert.Equal(t, []int64{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14}, seen)
	assert.Equal(t, "s.okoro", signers[2])
	assert.Len(t, report.People.Persons(), 3)
}

// TestVerifyKeeps: what is kept is what reading again would give, also where
// some was verified before, and nothing is kept of a log with faults.
func TestVerifyKeeps(t *testing.T) {
	m := sample(t)
	var want []ledger.Kept
	require.NoError(t, ledger.Read(t.Context(), m, origin, 0, 15, func(_ int64, e entry.Entry, signer string, raw []byte) error {
		want = append(want, ledger.Kept{Entry: e, Leaf: ledger.Leaf(raw), Signer: signer})
		return nil
	}))
	require.Len(t, want, 15)
	root, err := ledger.Root(t.Context(), m, origin, 9)
	require.NoError(t, err)
	for _, before := range []ledger.Verified{{}, {Size: 9, Root: root}} {
		assert.Equal(t, want, verify(t, m, ledger.VerifyOptions{Keep: true, Verified: before}).Kept)
	}
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{}).Kept)
	m.Logs[origin].Notes[3][40] ^= 1
	assert.Empty(t, verify(t, m, ledger.VerifyOptions{Keep: true}).Kept)
}

// A mutation makes faults in a good log, or in what it is compared with.
type mutation struct {
	name   string
	mutate func(t *testing.T, m *ledgertest.Memory, opt *ledger.VerifyOptions)
	want   []string // code@entry
}

func records(m *ledgertest.Memory) *ledgertest.Records { return m.Logs[origin] }

const blobCase = "a blob gone, a blob altered"

// TestVerifyFaults makes each fault and finds it, and only it.
func TestVerifyFaults(t *testing.T) {
	type options = ledger.VerifyOptions
	cases := []mutation{
		{"spare bits of the signature's base64", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			raw := records(m).Notes[7]
			at := bytes.LastIndexByte(raw, '=') - 1
			alphabet := "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/"
			raw[at] = alphabet[bytes.IndexByte([]byte(alphabet), raw[at])^1]
		}, []string{"malformed-entry@7"}},
		{"a second signature", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			raw := records(m).Notes[7]
			records(m).Notes[7] = append(raw, raw[bytes.LastIndex(raw, []byte("— ")):]...)
		}, []string{"malformed-entry@7"}},
		{"signed, but not as printed", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			force(t, m, origin, signed(t, replace(t, text(t, m, origin, ledgertest.NoteBody("x")), "uptime: 1\n", "uptime: 1.0\n"), ledgertest.Mills))
		}, []string{"malformed-entry@15"}},
		{"unknown kind", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			force(t, m, origin, signed(t, replace(t, text(t, m, origin, ledgertest.NoteBody("x")), "kind: note\n", "kind: dance\n"), ledgertest.Mills))
		}, []string{"unknown-kind@15"}},
		{"unknown kind, bad signature", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			raw := signed(t, replace(t, text(t, m, origin, ledgertest.NoteBody("x")), "kind: note\n", "kind: dance\n"), ledgertest.Mills)
			force(t, m, origin, replace(t, raw, "kind: dance\n", "kind: waltz\n"))
		}, []string{"unknown-kind@15", "bad-signature@15"}},
		{"a reading altered", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes[7] = replace(t, records(m).Notes[7], "value: 201600", "value: 301600")
		}, []string{"bad-signature@7"}},
		{"two neighbours and the last altered", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			for _, i := range []int{6, 7} {
				records(m).Notes[i] = replace(t, records(m).Notes[i], "value: 201600", "value: 301600")
			}
			records(m).Notes[14] = replace(t, records(m).Notes[14], "note 3", "note 9")
		}, []string{"bad-signature@6", "bad-signature@7", "bad-signature@14"}},
		{"entry 0 altered", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes[0] = replace(t, records(m).Notes[0], "name: Sandpiper", "name: Sandpeeper")
		}, []string{"bad-signature@0"}},
		{"a stranger's signature", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			forceBody(t, m, origin, ledgertest.NoteBody("x"), "n.obody")
		}, []string{"wrong-signer@15"}},
		{"another key under a known name", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			s, err := ledger.NewSigner(ledgertest.Mills, ledgertest.Key("somebody else"))
			require.NoError(t, err)
			raw, err := signWith(text(t, m, origin, ledgertest.NoteBody("x")), s)
			require.NoError(t, err)
			force(t, m, origin, raw)
		}, []string{"wrong-signer@15"}},
		{"a join by somebody who is no releaser", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			forceBody(t, m, origin, join("n.ewton"), ledgertest.Okoro)
		}, []string{"wrong-signer@15"}},
		{"a reading by a witness", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			forceBody(t, m, origin, reading(9), ledgertest.Vance)
		}, []string{"wrong-signer@15"}},
		{"witness of one's own reading", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			forceBody(t, m, origin, confirm(t, m, entry.Witness, 7), ledgertest.Okoro)
		}, []string{"wrong-signer@15"}},
		{"the same key for another person", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			b := entry.Body{Kind: entry.Join}
			b.Add("person", "n.ewton")
			b.Add("roles", "operator")
			b.Add("key", people.VKey("n.ewton", publicKey(ledgertest.Okoro)))
			forceBody(t, m, origin, b, ledgertest.Mills)
		}, []string{"wrong-signer@15"}},
		{"a retired key", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			forceBody(t, m, origin, retire(ledgertest.Okoro), ledgertest.Mills)
			forceBody(t, m, origin, ledgertest.NoteBody("x"), ledgertest.Okoro)
		}, []string{"retired-key@16"}},
		{"a row removed", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes[8] = nil
		}, []string{"missing-entry@8"}},
		{"three rows removed, another altered", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			r := records(m)
			r.Notes[11], r.Notes[12], r.Notes[13] = nil, nil, nil
			r.Notes[7] = replace(t, r.Notes[7], "value: 201600", "value: 301600")
		}, []string{"bad-signature@7", "missing-entry@11"}},
		{"an entry removed, the others moved up", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes = slices.Delete(records(m).Notes, 8, 9)
		}, []string{"missing-entry@8"}},
		{"the same with a tree and checkpoint to match", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			rebuild(t, m, slices.Delete(records(m).Notes, 8, 9))
		}, []string{"missing-entry@8"}},
		{"the last entry removed", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes = records(m).Notes[:14]
		}, []string{"missing-entry@14"}},
		{"the last entry and its hashes removed", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			r := records(m)
			r.Notes, r.Hashes = r.Notes[:14], r.Hashes[:25]
		}, []string{"missing-entry@14"}},
		{"an entry twice, one after the other", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes = slices.Insert(records(m).Notes, 8, slices.Clone(records(m).Notes[8]))
		}, []string{"doubled-entry@9"}},
		{"an accept twice, at the end, with a tree to match", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			force(t, m, origin, records(m).Notes[4])
		}, []string{"doubled-entry@15"}},
		{"an entry in place of another", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes[12] = records(m).Notes[11]
		}, []string{"missing-entry@12", "doubled-entry@12"}},
		{"two entries exchanged", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			n := records(m).Notes
			n[7], n[8] = n[8], n[7]
		}, []string{"moved-entry@7"}},
		{"an entry moved to the end, with a tree to match", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			n := records(m).Notes
			rebuild(t, m, append(slices.Delete(slices.Clone(n), 7, 8), n[7]))
		}, []string{"moved-entry@14"}},
		{"an entry of another log", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			other := sampleOf(t, "hvproof/avocet/bench-1/aaaa")
			records(m).Notes[12] = other.Logs["hvproof/avocet/bench-1/aaaa"].Notes[12]
		}, []string{"foreign-entry@12"}},
		{"a witness of what is not there", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			b := entry.Body{Kind: entry.Witness}
			b.Add("entry", "7")
			b.Add("leaf", entry.FormatHash([32]byte{1}))
			forceBody(t, m, origin, b, ledgertest.Vance)
		}, []string{"foreign-entry@15"}},
		{"a witness of the future", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			b := entry.Body{Kind: entry.Witness}
			b.Add("entry", "15")
			b.Add("leaf", entry.FormatHash([32]byte{1}))
			forceBody(t, m, origin, b, ledgertest.Vance)
		}, []string{"foreign-entry@15"}},
		{"signed anew with other bytes, tree left", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Notes[7] = resign(t, records(m).Notes[7], "value: 201600", "value: 301600", ledgertest.Okoro)
		}, []string{"bad-root@7"}},
		{"a stored leaf altered", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Hashes[0][5] ^= 1
		}, []string{"bad-root@0"}},
		{"a stored inner hash altered", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Hashes[2][5] ^= 1 // comes with entry 1
		}, []string{"bad-root@1"}},
		{"the last hashes gone", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Hashes = records(m).Hashes[:20]
		}, []string{"bad-root@11"}},
		{"history rewritten and signed again", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			// Okoro and the log's key do what they can: Vance's signature stays.
			n := records(m).Notes
			n[7] = resign(t, n[7], "value: 201600", "value: 301600", ledgertest.Okoro)
			rebuild(t, m, n[:8])
			n[8] = resignRoot(t, m, n[8], ledgertest.Okoro)
			rebuild(t, m, n)
		}, []string{"bad-root@9"}},
		{"an old checkpoint put back", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			old := sample(t)
			ledgertest.Append(t, ledgertest.Open(t, m, origin), ledgertest.NoteBody("x"), ledgertest.Mills)
			records(m).Checkpoint = records(old).Checkpoint
		}, []string{"bad-checkpoint@14"}},
		{"no checkpoint", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			records(m).Checkpoint = nil
		}, []string{"bad-checkpoint@14"}},
		{"a checkpoint of another root", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			var err error
			records(m).Checkpoint, err = ledger.SignCheckpoint(origin, 15, [32]byte{1}, ledgertest.Signer(t, origin))
			require.NoError(t, err)
		}, []string{"bad-checkpoint@14"}},
		{"a checkpoint by another key", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			s, err := ledger.NewSigner(origin, ledgertest.Key("another log"))
			require.NoError(t, err)
			c, err := ledger.ParseCheckpoint(records(m).Checkpoint)
			require.NoError(t, err)
			records(m).Checkpoint, err = ledger.SignCheckpoint(origin, 15, c.Root, s)
			require.NoError(t, err)
		}, []string{"bad-checkpoint@14"}},
		{"an older state restored", func(t *testing.T, m *ledgertest.Memory, opt *options) {
			newer := m.Clone()
			ledgertest.Append(t, ledgertest.Open(t, newer, origin), ledgertest.NoteBody("x"), ledgertest.Mills)
			opt.Remembered = records(newer).Checkpoint
		}, []string{"rolled-back@15"}},
		{"everything gone", func(t *testing.T, m *ledgertest.Memory, opt *options) {
			opt.Remembered = records(m).Checkpoint
			delete(m.Logs, origin)
		}, []string{"missing-entry@0", "rolled-back@0"}},
		{"another history since", func(t *testing.T, m *ledgertest.Memory, opt *options) {
			other := m.Clone()
			for i, mm := range []*ledgertest.Memory{m, other, m, other} {
				ledgertest.Append(t, ledgertest.Open(t, mm, origin), ledgertest.NoteBody(fmt.Sprint("x", i)), ledgertest.Mills)
			}
			opt.Against, opt.Other = [][]byte{records(other).Checkpoint}, other
		}, []string{"diverged@15", "diverged@16"}},
		{"another log of the same name", func(t *testing.T, m *ledgertest.Memory, opt *options) {
			s, err := ledger.NewSigner(origin, ledgertest.Key("another log"))
			require.NoError(t, err)
			c, err := ledger.SignCheckpoint(origin, 3, [32]byte{1}, s)
			require.NoError(t, err)
			opt.Against = [][]byte{c}
		}, []string{"diverged@0"}},
		{"rubbish to compare with", func(t *testing.T, m *ledgertest.Memory, opt *options) {
			opt.Against = [][]byte{[]byte("rubbish")}
		}, []string{"bad-checkpoint@14"}},
		{blobCase, func(t *testing.T, m *ledgertest.Memory, _ *options) {
			b := runStart(t, m, origin)
			b.Fields[0].Value = "precharge"
			forceBody(t, m, origin, b, ledgertest.Okoro)
			digests := b.Blobs()
			require.Len(t, digests, 2)
			delete(m.Blobs, digests[0])
			m.Blobs[digests[1]][0] ^= 1
		}, []string{"missing-blob@5", "altered-blob@5"}},
		{"a run that claims to be practice", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			b := runStart(t, m, origin+"/practice")
			forceBody(t, m, origin, b, ledgertest.Okoro)
		}, []string{"practice-as-evidence@15"}},
		{"entry 0 says practice, the origin does not", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			delete(m.Logs, origin)
			b := ledgertest.StartBody(t, origin)
			for i := range b.Fields {
				if b.Fields[i].Name == "practice" {
					b.Fields[i].Value = "yes"
				}
			}
			forceBody(t, m, origin, b, ledgertest.Mills)
		}, []string{"practice-as-evidence@0"}},
		{"nothing", func(t *testing.T, m *ledgertest.Memory, _ *options) { delete(m.Logs, origin) },
			[]string{"missing-entry@0"}},
		{"no start", func(t *testing.T, m *ledgertest.Memory, _ *options) {
			delete(m.Logs, origin)
			forceBody(t, m, origin, ledgertest.NoteBody("x"), ledgertest.Mills)
		}, []string{"wrong-signer@0", "wrong-signer@0", "bad-checkpoint@0"}},
	}
	found := map[string]bool{}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			m := sample(t)
			var opt ledger.VerifyOptions
			c.mutate(t, m, &opt)
			var got []string
			for _, f := range verify(t, m, opt).Faults {
				got = append(got, fmt.Sprintf("%s@%d", f.Code, f.Entry))
				assert.NotEmpty(t, f.Sentence)
				found[string(f.Code)] = true
			}
			assert.Equal(t, c.want, got)
			if c.name == blobCase {
				return // of entries verified before, blobs are compared when they are read
			}
			// Verified before, whole or in part, before it was tampered with.
			for _, size := range []int64{15, 12, 1} {
				m, opt := sample(t), ledger.VerifyOptions{}
				opt.Verified.Size = size
				var err error
				opt.Verified.Root, err = ledger.Root(t.Context(), m, origin, size)
				require.NoError(t, err)
				c.mutate(t, m, &opt)
				got = nil
				for _, f := range verify(t, m, opt).Faults {
					got = append(got, fmt.Sprintf("%s@%d", f.Code, f.Entry))
				}
				assert.Equal(t, c.want, got, "verified before to %d", size)
			}
		})
	}
	found[string(ledger.NotEvidence)] = true // TestVerifyPractice
	for _, code := range ledger.Codes() {
		assert.True(t, found[string(code)], "no case for %s", code)
	}
}

func TestVerifyPractice(t *testing.T) {
	practice := origin + "/practice"
	m := sampleOf(t, practice)
	report, err := ledger.Verify(t.Context(), m, practice, ledger.VerifyOptions{})
	require.NoError(t, err)
	assert.Empty(t, report.Faults)
	assert.True(t, report.Practice)

	report, err = ledger.Verify(t.Context(), m, practice, ledger.VerifyOptions{AsEvidence: true})
	require.NoError(t, err)
	require.Len(t, report.Faults, 1)
	assert.Equal(t, ledger.NotEvidence, report.Faults[0].Code)

	// The whole log under a name that hides what it is.
	m.Logs[origin] = m.Logs[practice]
	report, err = ledger.Verify(t.Context(), m, origin, ledger.VerifyOptions{})
	require.NoError(t, err)
	var codes []ledger.Code
	for _, f := range report.Faults {
		codes = append(codes, f.Code)
	}
	assert.Equal(t, []ledger.Code{ledger.PracticeAsEvidence, ledger.BadCheckpoint}, codes)
}

// TestVerifyEveryByte flips every byte of every note and of the checkpoint of
// a small log: each time there must be a fault.
func TestVerifyEveryByte(t *testing.T) {
	m := ledgertest.NewMemory()
	l := ledgertest.Open(t, m, origin)
	ledgertest.Append(t, l, ledgertest.StartBody(t, origin), ledgertest.Mills)
	ledgertest.Append(t, l, ledgertest.NoteBody("one"), ledgertest.Mills)
	ledgertest.Append(t, l, ledgertest.NoteBody("two"), ledgertest.Mills)
	require.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults)
	r := records(m)
	flipped := 0
	for what, raw := range map[string][]byte{"entry 0": r.Notes[0], "entry 1": r.Notes[1], "entry 2": r.Notes[2], "checkpoint": r.Checkpoint} {
		for i := range raw {
			for _, mask := range []byte{0x01, 0x20, 0x80} {
				raw[i] ^= mask
				report, err := ledger.Verify(t.Context(), m, origin, ledger.VerifyOptions{Workers: 1})
				require.NoError(t, err)
				require.NotEmpty(t, report.Faults, "%s, byte %d, mask %#x", what, i, mask)
				raw[i] ^= mask
				flipped++
			}
		}
	}
	for i := range r.Hashes {
		r.Hashes[i][7] ^= 1
		require.NotEmpty(t, verify(t, m, ledger.VerifyOptions{}).Faults, "hash %d", i)
		r.Hashes[i][7] ^= 1
	}
	assert.Greater(t, flipped, 4000)
	require.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults, "all flipped back")
}

// TestVerifyManyBatches finds the one altered entry beyond the first batches.
func TestVerifyManyBatches(t *testing.T) {
	m := sample(t)
	for i := range 1200 {
		forceBody(t, m, origin, ledgertest.NoteBody(fmt.Sprintf("note number %d", i)), ledgertest.Mills)
	}
	require.Empty(t, verify(t, m, ledger.VerifyOptions{}).Faults)
	n := records(m).Notes
	n[1000] = replace(t, n[1000], "note number", "note numbre")
	n[1100] = nil
	report := verify(t, m, ledger.VerifyOptions{Workers: 3})
	require.Len(t, report.Faults, 2)
	assert.Equal(t, ledger.BadSignature, report.Faults[0].Code)
	assert.Equal(t, int64(1000), report.Faults[0].Entry)
	assert.Equal(t, ledger.MissingEntry, report.Faults[1].Code)
}
