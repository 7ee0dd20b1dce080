package ledger_test

import (
	"bytes"
	"crypto/sha256"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/ledger"
)

// TestKept: what is laid aside comes back as it was, and with one bit altered,
// or cut short, not at all.
func TestKept(t *testing.T) {
	m := sample(t)
	kept := verify(t, m, ledger.VerifyOptions{Keep: true}).Kept
	require.Len(t, kept, 15)
	data := ledger.MarshalKept(kept)
	again, err := ledger.ParseKept(data)
	require.NoError(t, err)
	assert.Equal(t, kept, again)
	assert.True(t, bytes.Equal(data, ledger.MarshalKept(again)))
	for i := range data {
		data[i] ^= 1 << (i % 8)
		_, err := ledger.ParseKept(data)
		require.Error(t, err, "byte %d", i)
		data[i] ^= 1 << (i % 8)
		_, err = ledger.ParseKept(data[:i])
		require.Error(t, err, "%d bytes", i)
	}
	none, err := ledger.ParseKept(ledger.MarshalKept(nil))
	require.NoError(t, err)
	assert.Empty(t, none)
}

// FuzzParseKept: whatever stands there, with its SHA-256 at the end, is refused
// or is what would be laid aside.
func FuzzParseKept(f *testing.F) {
	m := sample(f)
	report, err := ledger.Verify(f.Context(), m, origin, ledger.VerifyOptions{Keep: true})
	require.NoError(f, err)
	data := ledger.MarshalKept(report.Kept)
	f.Add(data[:len(data)-32])
	f.Add([]byte{0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, body []byte) {
		sum := sha256.Sum256(body)
		kept, err := ledger.ParseKept(append(slices.Clip(body), sum[:]...))
		if err == nil {
			again, err := ledger.ParseKept(ledger.MarshalKept(kept))
			require.NoError(t, err)
			require.Equal(t, kept, again)
		}
	})
}

// TestRecall: a verification that goes on from what was kept says what one that
// reads everything says, also where the log has grown since; and where what was
// kept is of another log, everything is read.
func TestRecall(t *testing.T) {
	m := sample(t)
	whole := verify(t, m, ledger.VerifyOptions{Keep: true})
	require.Empty(t, whole.Faults)
	for _, size := range []int64{15, 9, 1} {
		root, err := ledger.Root(t.Context(), m, origin, size)
		require.NoError(t, err)
		before := ledger.Verified{Size: size, Root: root, Kept: whole.Kept[:size]}
		got := verify(t, m, ledger.VerifyOptions{Keep: true, Verified: before})
		assert.Equal(t, size, got.Known)
		got.Known = 0
		assert.Equal(t, whole, got)

		for what, change := range map[string]func(k *ledger.Kept){
			"leaf":   func(k *ledger.Kept) { k.Leaf[0] ^= 1 },
			"index":  func(k *ledger.Kept) { k.Entry.Index++ },
			"origin": func(k *ledger.Kept) { k.Entry.Origin += "x" },
		} {
			kept := append([]ledger.Kept{}, whole.Kept[:size]...)
			change(&kept[size-1])
			before.Kept = kept
			assert.Equal(t, whole, verify(t, m, ledger.VerifyOptions{Keep: true, Verified: before}), what)
		}
	}
}
