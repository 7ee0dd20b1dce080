package audit

import (
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/entry"
	"hvproof/internal/ledger/ledgertest"
	"hvproof/internal/run"
)

func TestNothingToRemark(t *testing.T) {
	b := newBench(t)
	b.passed(small(), meter())
	b.passed(small(), meter())
	assert.Empty(t, b.remarks())
}

// TestEveryCode holds the codes in the code against those of the package
// comment: each is documented, and each documented one exists.
func TestEveryCode(t *testing.T) {
	doc, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	documented := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?m)^//\t([a-z-]+)`).FindAllStringSubmatch(string(doc), -1) {
		documented[m[1]] = true
	}
	used := map[string]bool{}
	files, err := os.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		if strings.HasSuffix(f.Name(), "_test.go") || !strings.HasSuffix(f.Name(), ".go") {
			continue
		}
		text, err := os.ReadFile(f.Name())
		require.NoError(t, err)
		for _, m := range regexp.MustCompile(`remark\((?:[^"\n]*, )?"([a-z-]+)"|code(?:, bad)? :?= "([a-z-]+)"`).FindAllStringSubmatch(string(text), -1) {
			used[m[1]+m[2]] = true
		}
	}
	assert.Greater(t, len(used), 40)
	assert.Equal(t, documented, used)
}

func TestRemarksOnTheLog(t *testing.T) {
	releaser := ledgertest.Mills
	tests := []struct {
		code, says string
		do         func(*bench)
	}{
		{"clock-backwards", "dated 1h0m before entry 5", func(b *bench) {
			b.add(ledgertest.NoteBody("one"), releaser)
			b.now = b.now.Add(-time.Hour)
			b.add(ledgertest.NoteBody("two"), releaser)
		}},
		{"set-clock", "2 entries, from 5 to 6", func(b *bench) {
			b.version += " set-clock"
			b.reopen()
			b.add(ledgertest.NoteBody("one"), releaser)
			b.add(ledgertest.NoteBody("two"), releaser)
		}},
		{"loss", "remembered 99; reason: a dead disk", func(b *bench) {
			b.add(body(entry.Loss, nil, "", "log-size", "99", "log-root", entry.FormatHash([32]byte{1}), "reason", "a dead disk"), releaser)
		}},
		{"hand-over", "handed over from hvproof/sandpiper/old/k1 with 7 entries", func(b *bench) {
			b.add(body(entry.HandOver, nil, "", "from", "hvproof/sandpiper/old/k1", "log-size", "7", "log-root", entry.FormatHash([32]byte{1}), "device", "bench-1"), releaser)
		}},
		{"few-releasers", "only one releaser", func(b *bench) {
			b.add(body(entry.Retire, nil, "", "person", ledgertest.Vance, "key", ledgertest.VKey(ledgertest.Vance), "reason", "left"), releaser)
		}},
		{"not-accepted", "n.field was introduced by r.mills", func(b *bench) {
			b.add(body(entry.Join, nil, "", "person", "n.field", "roles", "witness", "key", ledgertest.VKey("n.field")), releaser)
		}},
		{"baseline-unknown-run", "names the run k3f9-99", func(b *bench) {
			e := b.add(body(entry.Baseline, nil, "", "run 1", "k3f9-99"), releaser)
			b.countersign(e)
		}},
		{"baseline-not-countersigned", "nobody but its signer", func(b *bench) {
			m := b.passed(small(), meter())
			b.add(body(entry.Baseline, nil, "", "run 1", m.ID()), releaser)
		}},
		{"baseline-replaced", "of entry 12", func(b *bench) {
			m := b.passed(small(), meter())
			for range 2 {
				b.countersign(b.add(body(entry.Baseline, nil, "", "run 1", m.ID()), releaser))
			}
		}},
		{"impossible-run", "reading of no run", func(b *bench) {
			b.add(body(entry.Reading, nil, "left.poles", "attempt", "1", "text", "3 V"), releaser)
		}},
		{"look-alike", "r.mi1ls is introduced, and looks like r.mills", func(b *bench) {
			ledgertest.Introduce(b.t, b.log, releaser, "n.field", "witness") // like nobody
			ledgertest.Introduce(b.t, b.log, releaser, "r.mi1ls", "releaser")
		}},
		{"impossible-run", "k3f9-77, which is not in this log", func(b *bench) {
			e := body(entry.RunEnd, nil, "", "outcome", "passed")
			e.Run = "k3f9-77"
			b.add(e, releaser)
		}},
	}
	for _, test := range tests {
		t.Run(test.code, func(t *testing.T) {
			b := newBench(t)
			test.do(b)
			remarks := b.remarks()
			assert.Equal(t, []string{test.code}, codes(remarks))
			assert.Contains(t, sentence(t, remarks, test.code), test.says)
		})
	}
}

// countersign lets somebody else stand behind an entry.
func (b *bench) countersign(e entry.Entry) {
	b.t.Helper()
	b.add(ledgertest.Confirm(entry.Countersign, e, b.leafOf(e.Index)), ledgertest.Vance)
}

func TestPredecessor(t *testing.T) {
	const old = "hvproof/sandpiper/old/k1"
	for _, test := range []struct{ predecessor, size, code, says string }{
		{"unproven", "", "predecessor", "nothing proves what it said"},
		{"hvproof/sandpiper/older/k0", "7", "predecessor", "goes on from hvproof/sandpiper/older/k0, whose 7 entries are not here"},
		{old, "", "predecessor", "does not say from which"},
		{old, "1", "went-on", "was handed over with 1 entries, and went on by itself to 2"},
		{old, "2", "", ""},
	} {
		a := New(nil)
		for i := range int64(2) {
			a.Observe(i, entry.Entry{Header: entry.Header{Origin: old, Index: i}, Body: ledgertest.NoteBody("x")}, ledgertest.Mills, nil)
		}
		a.Observe(0, entry.Entry{Header: entry.Header{Origin: ledgertest.Origin},
			Body: body(entry.Start, nil, "", "predecessor", test.predecessor, "predecessor-size", test.size)}, ledgertest.Mills, nil)
		if test.code == "" {
			assert.Empty(t, a.Remarks())
			continue
		}
		require.Len(t, a.Remarks(), 1)
		assert.Equal(t, ledgertest.Origin, a.Remarks()[0].Log)
		assert.Contains(t, sentence(t, a.Remarks(), test.code), test.says)
	}
}

func TestSeal(t *testing.T) {
	a := New(nil)
	for i, who := range []string{"a", "b", "b", "c", "c"} {
		a.Observe(int64(i), entry.Entry{Header: entry.Header{Origin: ledgertest.Origin, Index: int64(i)}, Body: ledgertest.NoteBody("x")}, who, nil)
	}
	assert.Equal(t, Seal{Signer: "c", Others: 3}, a.Seal())
}

func TestDuration(t *testing.T) {
	for d, want := range map[time.Duration]string{
		time.Millisecond: "less than a second", 90 * time.Second: "1m30s", 7 * time.Minute: "7m", 26*time.Hour + time.Minute: "26h1m",
		72 * time.Hour: "3 days",
	} {
		assert.Equal(t, want, duration(d))
	}
}

func TestRemarksTwice(t *testing.T) {
	b := newBench(t)
	m := b.begin(small(), meter())
	a := New(func(d [32]byte) ([]byte, error) { return b.st.Blob(t.Context(), d) })
	b.observe(a, 0)
	first := a.Remarks()
	assert.Equal(t, []string{"unfinished-run"}, codes(first))
	assert.Equal(t, first, a.Remarks(), "asking changes nothing")
	size := b.log.Size()
	b.drive(m, good())
	b.observe(a, size)
	assert.Empty(t, a.Remarks())
	require.Equal(t, run.Passed, a.History().Run(m.ID()).Outcome())
}
