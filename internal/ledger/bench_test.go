package ledger_test

import (
	"crypto/ed25519"
	"fmt"
	"runtime"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
)

// BenchmarkVerify verifies a log of 100,000 entries and reports its rate per
// signature as a part of that of bare ed25519.Verify on all cores (`ratio`;
// 0.8 is asked for). The two are measured alternately: the machine may be busy.
func BenchmarkVerify(b *testing.B) {
	const n = 100_000
	m := sample(b)
	signer := ledgertest.Signer(b, ledgertest.Okoro)
	l := ledgertest.Open(b, m, origin)
	for i := len(m.Logs[origin].Notes); i < n; i++ {
		_, _, err := l.Append(b.Context(), reading(i), signer)
		require.NoError(b, err)
	}
	messages := m.Logs[origin].Notes
	key, public := ledgertest.Key(ledgertest.Okoro), publicKey(ledgertest.Okoro)
	message := messages[n-1]
	signature := ed25519.Sign(key, message)
	bare := func() time.Duration {
		start, workers := time.Now(), runtime.GOMAXPROCS(0)
		var wg sync.WaitGroup
		for w := range workers {
			wg.Go(func() {
				for i := w; i < n; i += workers {
					if !ed25519.Verify(public, message, signature) {
						panic("the signature is good")
					}
				}
			})
		}
		wg.Wait()
		return time.Since(start)
	}
	head := ledger.Verified{Size: n}
	var err error
	head.Root, err = ledger.Root(b.Context(), m, origin, n)
	require.NoError(b, err)
	var ours, theirs, again time.Duration
	for b.Loop() {
		start := time.Now()
		report, err := ledger.Verify(b.Context(), m, origin, ledger.VerifyOptions{})
		ours += time.Since(start)
		require.NoError(b, err)
		require.Empty(b, report.Faults)
		theirs += bare()
		start = time.Now()
		report, err = ledger.Verify(b.Context(), m, origin, ledger.VerifyOptions{Verified: head})
		again += time.Since(start)
		require.NoError(b, err)
		require.Empty(b, report.Faults)
	}
	b.ReportMetric(theirs.Seconds()/ours.Seconds(), "ratio")
	b.ReportMetric(ours.Seconds()*1e6/float64(n*b.N), "µs/entry")
	b.ReportMetric(again.Seconds()*1e6/float64(n*b.N), "µs/entry-verified-before")
	b.ReportMetric(0, "ns/op")
}

// BenchmarkAppend appends to a storage in memory: all that an answer costs but
// the disk.
func BenchmarkAppend(b *testing.B) {
	m := sample(b)
	signer := ledgertest.Signer(b, ledgertest.Okoro)
	l := ledgertest.Open(b, m, origin)
	for i := 0; b.Loop(); i++ {
		_, _, err := l.Append(b.Context(), ledgertest.NoteBody(fmt.Sprint("note ", i)), signer)
		require.NoError(b, err)
	}
}
