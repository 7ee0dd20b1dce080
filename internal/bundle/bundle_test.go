package bundle_test

import (
	"archive/zip"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/audit"
	"hvproof/internal/bundle"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
)

// TestReadsAsStorage holds a bundle against the storage that it was packed
// from, method by method.
func TestReadsAsStorage(t *testing.T) {
	m := sample(t, origin)
	data := pack(t, contents(t, m))
	require.Equal(t, data, pack(t, contents(t, m)), "the same contents give the same bytes")
	b, err := open(data)
	require.NoError(t, err)
	r := m.Logs[origin]
	size, err := b.Size(t.Context(), origin)
	require.NoError(t, err)
	assert.Equal(t, int64(len(r.Notes)), size)
	var all []int64
	for i := range r.Hashes {
		all = append(all, int64(i))
	}
	hashes, err := b.ReadHashes(t.Context(), origin, all)
	require.NoError(t, err)
	assert.Equal(t, r.Hashes, hashes)
	for _, beyond := range []int64{-1, int64(len(r.Hashes)), 1 << 62} {
		_, err = b.ReadHashes(t.Context(), origin, []int64{beyond})
		assert.ErrorIs(t, err, ledger.ErrNoHash)
	}
	var notes [][]byte
	require.NoError(t, b.ReadEntries(t.Context(), origin, 0, 99, func(index int64, raw []byte) error {
		assert.Equal(t, int64(len(notes)), index)
		notes = append(notes, raw)
		return nil
	}))
	assert.Equal(t, r.Notes, notes)
	stop := errors.New("stop")
	assert.Equal(t, stop, b.ReadEntries(t.Context(), origin, 3, 9, func(int64, []byte) error { return stop }))
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	assert.ErrorIs(t, b.ReadEntries(ctx, origin, 0, 9, func(int64, []byte) error { return nil }), context.Canceled)
	checkpoint, err := b.Checkpoint(t.Context(), origin)
	require.NoError(t, err)
	assert.Equal(t, r.Checkpoint, checkpoint)
	for d, want := range m.Blobs {
		got, err := b.Blob(t.Context(), d)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	_, err = b.Blob(t.Context(), [32]byte{1})
	assert.ErrorIs(t, err, ledger.ErrNoBlob)
	other, err := b.Size(t.Context(), "hvproof/no/such/log")
	require.NoError(t, err)
	assert.Zero(t, other)
	assert.Error(t, b.Append(t.Context(), origin, 15, nil, nil, nil))
	_, err = b.PutBlob(t.Context(), nil)
	assert.Error(t, err)
}

// TestGoReadsIt lets the standard library's reader look at the container: an
// outside check that it is a plain ZIP.
func TestGoReadsIt(t *testing.T) {
	data := pack(t, contents(t, sample(t, origin)))
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	assert.Equal(t, "bundle.txt", z.File[0].Name)
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		_, err = io.Copy(io.Discard, r)
		require.NoError(t, err, "%s: the checksum", f.Name)
	}
}

// smallest is the smallest bundle there is: of a log that has just begun.
func smallest(t *testing.T) []byte {
	t.Helper()
	m := ledgertest.NewMemory()
	ledgertest.Append(t, ledgertest.Open(t, m, origin), ledgertest.StartBody(t, origin), ledgertest.Mills)
	return pack(t, contents(t, m))
}

// TestEveryByte flips every byte of a bundle, one after the other.
func TestEveryByte(t *testing.T) {
	data := smallest(t)
	b := bytes.Clone(data)
	for i := range b {
		b[i] ^= 1 << (i % 8)
		require.Equal(t, []ledger.Code{ledger.MalformedEntry}, verify(t, b, nil, false), "byte %d", i)
		b[i] = data[i]
	}
}

// TestEveryByteMended does the same in the members alone and mends all
// checksums of the container afterwards: a forger who knows ZIP.
func TestEveryByteMended(t *testing.T) {
	data := pack(t, contents(t, sample(t, origin)))
	members := 0
	repack(t, data, func(name string, d []byte) (string, []byte) { members++; return name, d })
	for n := range members {
		for at := 0; ; at += 13 {
			i, ended := 0, false
			b := repack(t, data, func(name string, d []byte) (string, []byte) {
				if i++; i-1 != n {
					return name, d
				}
				if ended = at >= len(d); ended {
					return name, d
				}
				d = bytes.Clone(d)
				d[at] ^= 1
				return name, d
			})
			if ended {
				break
			}
			codes := verify(t, b, nil, false)
			// When it was packed and by which program nobody signs.
			if n == 0 && len(codes) == 0 {
				require.Less(t, at, len("hvproof bundle 1\nmade: 2026-03-02T12:00:00.000000000Z\nprogram: hvproof test\n"))
				continue
			}
			require.NotEmpty(t, codes, "member %d, byte %d", n, at)
		}
	}
}

// TestEveryByteOfASmallOne flips every byte of every member of the smallest
// bundle there is, with all checksums mended, in three ways.
func TestEveryByteOfASmallOne(t *testing.T) {
	data := smallest(t)
	var sizes []int
	repack(t, data, func(name string, d []byte) (string, []byte) { sizes = append(sizes, len(d)); return name, d })
	free := len("hvproof bundle 1\nmade: 2026-03-02T12:00:00.000000000Z\nprogram: hvproof test\n")
	tried := 0
	for n, size := range sizes {
		for at := range size {
			for _, flip := range []byte{1, 0x20, 0x80} {
				codes := verify(t, flipped(t, data, n, at, flip), nil, false)
				if n == 0 && at < free {
					continue // when it was packed and by which program nobody signs
				}
				tried++
				require.NotEmpty(t, codes, "member %d, byte %d, %#x", n, at, flip)
			}
		}
	}
	assert.Greater(t, tried, 4000)
}

// flipped changes a byte of the nth member and mends the container.
func flipped(t *testing.T, data []byte, n, at int, flip byte) []byte {
	t.Helper()
	i := 0
	return repack(t, data, func(name string, d []byte) (string, []byte) {
		if i++; i-1 == n {
			d = bytes.Clone(d)
			d[at] ^= flip
		}
		return name, d
	})
}

// TestBytesOfALargeOne does the same at random places of a bundle of 300
// entries, with and without mending.
func TestBytesOfALargeOne(t *testing.T) {
	m := ledgertest.NewMemory()
	l := ledgertest.Begin(t, m, origin)
	for i := len(m.Logs[origin].Notes); i < 300; i++ {
		ledgertest.Append(t, l, ledgertest.NoteBody(fmt.Sprint("note ", i)), ledgertest.Okoro)
	}
	data := pack(t, contents(t, m))
	var sizes []int
	repack(t, data, func(name string, d []byte) (string, []byte) { sizes = append(sizes, len(d)); return name, d })
	random := rand.New(rand.NewPCG(6, 3))
	for range 40 {
		n := 1 + random.IntN(len(sizes)-1)
		at := random.IntN(sizes[n])
		require.NotEmpty(t, verify(t, flipped(t, data, n, at, byte(1+random.IntN(255))), nil, false), "member %d, byte %d", n, at)
		b := bytes.Clone(data)
		at = random.IntN(len(b))
		b[at] ^= byte(1 + random.IntN(255))
		require.NotEmpty(t, verify(t, b, nil, false), "byte %d", at)
	}
}

// TestAudit runs the audit on a bundle: the clock that was set back is seen.
func TestAudit(t *testing.T) {
	data, err := os.ReadFile(folder + "/clock-set-back.zip")
	require.NoError(t, err)
	b, err := open(data)
	require.NoError(t, err)
	watch := audit.New(func(d [32]byte) ([]byte, error) { return b.Blob(t.Context(), d) })
	r, err := ledger.Verify(t.Context(), b, origin, ledger.VerifyOptions{Observer: watch.Observe})
	require.NoError(t, err)
	require.Empty(t, r.Faults)
	var codes []string
	for _, r := range watch.Remarks() {
		codes = append(codes, r.Code)
	}
	assert.Contains(t, codes, "clock-backwards")
}

// TestMany packs more entries than the old ZIP end record can count.
func TestMany(t *testing.T) {
	const n = 66_000
	m := ledgertest.NewMemory()
	l := ledgertest.Begin(t, m, origin)
	_ = l
	r := m.Logs[origin]
	for i := len(r.Notes); i < n; i++ {
		raw := fmt.Appendf(nil, "note %d\n", i)
		hashes, err := tlog.StoredHashes(int64(i), raw, reader(r))
		require.NoError(t, err)
		r.Notes, r.Hashes = append(r.Notes, raw), append(r.Hashes, hashes...)
	}
	data := pack(t, contents(t, m))
	b, err := open(data)
	require.NoError(t, err)
	size, err := b.Size(t.Context(), origin)
	require.NoError(t, err)
	assert.Equal(t, int64(n), size)
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	assert.Greater(t, len(z.File), n)
	data[len(data)-60] ^= 1 // in the ZIP64 record
	_, err = open(data)
	assert.ErrorAs(t, err, new(*bundle.MalformedError))
}

// TestMemoryIsBounded opens what claims to be large.
func TestMemoryIsBounded(t *testing.T) {
	files, err := filepath.Glob(folder + "/zip-*.zip")
	require.NoError(t, err)
	require.Greater(t, len(files), 8)
	for _, f := range files {
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, err = open(data)
		runtime.ReadMemStats(&after)
		require.ErrorAs(t, err, new(*bundle.MalformedError), f)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(4<<20), f)
	}
	// A blob of 64 MiB is not held in memory, whole or altered.
	large := sample(t, origin)
	note := ledgertest.NoteBody("a waveform")
	digest, err := large.PutBlob(t.Context(), make([]byte, 64<<20))
	require.NoError(t, err)
	note.Add("file", fmt.Sprintf("%x", digest))
	ledgertest.Append(t, ledgertest.Open(t, large, origin), note, ledgertest.Mills)
	data := pack(t, contents(t, large))
	for _, want := range [][]ledger.Code{nil, {ledger.AlteredBlob}} {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		got := verify(t, data, nil, false)
		runtime.ReadMemStats(&after)
		assert.Equal(t, want, got)
		assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(16<<20))
		if want == nil {
			data = alter(t, data, "blobs/", "", strings.Repeat("\x00", 64<<20), strings.Repeat("\x00", 64<<20-1)+"\x01")
		}
	}
	// A checkpoint of a million million entries, signed with the log's own key.
	m := sample(t, origin)
	m.Logs[origin].Checkpoint, err = ledger.SignCheckpoint(origin, 1e12, [32]byte{}, ledgertest.Signer(t, origin))
	require.NoError(t, err)
	assert.Equal(t, []ledger.Code{ledger.BadCheckpoint}, verify(t, pack(t, contents(t, m)), nil, false))
}

func TestCosign(t *testing.T) {
	raw := sample(t, origin).Logs[origin].Checkpoint
	once, who, err := bundle.Cosign(raw, "scrutineer", ledgertest.Key("scrutineer"), cosignedAt)
	require.NoError(t, err)
	twice, second, err := bundle.Cosign(once, "another", ledgertest.Key("another"), cosignedAt)
	require.NoError(t, err)
	own, list, err := bundle.SplitCheckpoint(twice)
	require.NoError(t, err)
	assert.Equal(t, raw, own)
	require.Len(t, list, 2)
	assert.Equal(t, cosignedAt, list[0].Time)
	assert.True(t, list[0].By(who, twice))
	assert.True(t, list[1].By(second, twice))
	assert.False(t, list[1].By(who, twice))
	read, err := bundle.ParseCosigner(who.VKey())
	require.NoError(t, err)
	assert.Equal(t, who, read)
	_, _, err = bundle.Cosign(once, "scrutineer", ledgertest.Key("scrutineer"), cosignedAt)
	assert.ErrorContains(t, err, "already")
	_, _, err = bundle.Cosign(raw, "two words", ledgertest.Key("scrutineer"), cosignedAt)
	assert.Error(t, err)
	for i := range twice {
		b := bytes.Clone(twice)
		b[i] ^= 1
		own, list, err := bundle.SplitCheckpoint(b)
		if err != nil || !bytes.Equal(own, raw) || len(list) != 2 {
			continue
		}
		assert.False(t, list[0].By(who, b) && list[1].By(second, b), "byte %d", i)
	}
}

// TestNames refuses to carry what another machine might not.
func TestNames(t *testing.T) {
	for name, want := range map[string]bool{"vehicle.yaml": true, "procedures/isolation_whole.yaml": true, "../x": false,
		"/etc/passwd": false, "a/.hidden": false, "a\\b": false, "vehiсle.yaml": false, "a\u202Eb": false, "": false, "a//b": false} {
		got, ok := bundle.CarFile(name)
		assert.Equal(t, want, ok, name)
		if ok {
			assert.Equal(t, "car/"+name, got)
		}
	}
	c := contents(t, sample(t, origin))
	c.Files = []bundle.NamedBytes{{Name: "../x"}}
	assert.Error(t, bundle.Write(t.Context(), io.Discard, c))
	c.Files = []bundle.NamedBytes{{Name: "report.txt"}, {Name: "report.txt"}}
	assert.Error(t, bundle.Write(t.Context(), io.Discard, c))
}

// FuzzOpen opens and verifies anything; what opens is printed again to the
// same bytes.
func FuzzOpen(f *testing.F) {
	files, err := filepath.Glob(folder + "/*.zip")
	require.NoError(f, err)
	require.NotEmpty(f, files)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(f, err)
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		b, err := open(data)
		if err != nil {
			require.ErrorAs(t, err, new(*bundle.MalformedError))
			return
		}
		verify(t, data, nil, false)
		c := bundle.Contents{Storage: b, Origins: b.Logs, Made: b.Made, Program: b.Program, Cosigned: map[string]bundle.Cosigned{}}
		for _, o := range b.Logs {
			c.Cosigned[o] = b.Cosigned(o)
		}
		for _, file := range b.Files {
			content, ok, err := b.File(file.Name)
			require.NoError(t, err)
			require.True(t, ok)
			c.Files = append(c.Files, bundle.NamedBytes{Name: file.Name, Data: content})
		}
		var again bytes.Buffer
		require.NoError(t, bundle.Write(t.Context(), &again, c))
		if len(verify(t, data, nil, false)) == 0 {
			require.True(t, bytes.Equal(data, again.Bytes()), "what has no fault is what would be printed")
		}
	})
}

// FuzzCheckpoint: what SplitCheckpoint takes is spelled as Cosign prints it.
func FuzzCheckpoint(f *testing.F) {
	f.Add(ledgerCheckpoint)
	f.Fuzz(func(t *testing.T, raw []byte) {
		own, list, err := bundle.SplitCheckpoint(raw)
		if err == nil {
			require.LessOrEqual(t, len(list), 16)
			require.True(t, bytes.HasPrefix(raw, own))
		}
	})
}

var ledgerCheckpoint = []byte("hvproof/a/b/c\n1\nAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA=\n\n— hvproof/a/b/c AAAA\n")

// BenchmarkVerify prints the rate on a bundle beside that of its storage.
func BenchmarkVerify(b *testing.B) {
	m := ledgertest.NewMemory()
	l := ledgertest.Begin(b, m, origin)
	for i := range 5000 {
		body := entry.Body{Kind: entry.Reading, Run: "k3f9-5", Path: "step"}
		body.AddNumber("attempt", 1)
		body.Add("text", fmt.Sprint(i))
		ledgertest.Append(b, l, body, ledgertest.Okoro)
	}
	var buf bytes.Buffer
	require.NoError(b, bundle.Write(b.Context(), &buf, contents(b, m)))
	for name, open := range map[string]func() ledger.Storage{
		"memory": func() ledger.Storage { return m },
		"bundle": func() ledger.Storage {
			x, err := bundle.Open(bytes.NewReader(buf.Bytes()), int64(buf.Len()))
			require.NoError(b, err)
			return x
		},
	} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				r, err := ledger.Verify(b.Context(), open(), origin, ledger.VerifyOptions{})
				require.NoError(b, err)
				require.Empty(b, r.Faults)
			}
			b.ReportMetric(float64(b.N)*5005/b.Elapsed().Seconds(), "entries/s")
		})
	}
}
