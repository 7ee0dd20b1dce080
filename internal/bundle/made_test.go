package bundle_test

import (
	"encoding/binary"
	"flag"
	"hash/crc32"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/bundle"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/ledger/ledgertest"
)

var update = flag.Bool("update", false, "write testdata/bundles anew")

const folder = "../../testdata/bundles"

// A made is a bundle that is made to fail in one way, or not at all. Its
// sidecar NAME.expect has `expect: CODE`, then what to hold it against.
type made1 struct {
	name, expect string // several codes are parted by commas, in the order in which verify has them
	against      string // the bundle to compare with
	evidence     bool
	make         func(t testing.TB) []byte
}

// of packs a sample log after a change.
func of(change func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records)) func(t testing.TB) []byte {
	return func(t testing.TB) []byte {
		m := sample(t, origin)
		if change != nil {
			change(t, m, m.Logs[origin])
		}
		return pack(t, contents(t, m))
	}
}

// bytesOf packs the sample and then changes the bytes.
func bytesOf(change func(t testing.TB, b []byte) []byte) func(t testing.TB) []byte {
	return func(t testing.TB) []byte { return change(t, of(nil)(t)) }
}

func last(t testing.TB, m *ledgertest.Memory, body entry.Body, by string, change func([]byte) []byte) {
	text := text(t, m, origin, body)
	if change != nil {
		text = change(text)
	}
	force(t, m, origin, signed(t, text, by))
}

var cosignedAt = time.Date(2026, 3, 3, 9, 0, 0, 0, time.UTC)

// cosignedBundle is the sample, countersigned by a scrutineer.
func cosignedBundle(t testing.TB, change func(*bundle.Cosigned)) []byte {
	m := sample(t, origin)
	c := contents(t, m)
	raw, who, err := bundle.Cosign(m.Logs[origin].Checkpoint, "scrutineer.example", ledgertest.Key("scrutineer"), cosignedAt)
	require.NoError(t, err)
	signed := bundle.Cosigned{Checkpoint: raw, By: []bundle.Cosigner{who}}
	if change != nil {
		change(&signed)
	}
	c.Cosigned = map[string]bundle.Cosigned{origin: signed}
	return pack(t, c)
}

func all() []made1 {
	okoro, mills := ledgertest.Okoro, ledgertest.Mills
	grow := func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
		l := ledgertest.Open(t, m, origin)
		ledgertest.Append(t, l, ledgertest.NoteBody("the record grows"), okoro)
	}
	return []made1{
		{name: "good", expect: "none", make: of(nil)},
		{name: "grown", expect: "none", against: "good", make: of(grow)},
		{name: "countersigned", expect: "none", make: func(t testing.TB) []byte { return cosignedBundle(t, nil) }},
		{name: "practice", expect: "none", make: func(t testing.TB) []byte { return pack(t, contents(t, sample(t, origin+"/practice"))) }},
		{name: "two-logs", expect: "none", make: func(t testing.TB) []byte {
			m, other := sample(t, origin), sample(t, nextOrigin)
			m.Logs[nextOrigin] = other.Logs[nextOrigin]
			return pack(t, contents(t, m))
		}},
		{name: "clock-set-back", expect: "none", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			last(t, m, ledgertest.NoteBody("yesterday"), okoro, func(b []byte) []byte { return replace(t, b, "time: 2026-03-01T", "time: 2026-02-28T") })
		})},
		{name: "practice-as-evidence", expect: "not-evidence", evidence: true,
			make: func(t testing.TB) []byte { return pack(t, contents(t, sample(t, origin+"/practice"))) }},
		{name: "malformed-entry", expect: "malformed-entry", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			last(t, m, ledgertest.NoteBody("spelled otherwise"), okoro, func(b []byte) []byte { return replace(t, b, "uptime: 1\n", "uptime: 1.0\n") })
		})},
		{name: "malformed-signature", expect: "malformed-entry", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			raw := signed(t, text(t, m, origin, ledgertest.NoteBody("two signatures")), okoro)
			force(t, m, origin, append(raw, raw[strings.LastIndex(string(raw), "— "):]...))
		})},
		{name: "hidden-character", expect: "malformed-entry", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			last(t, m, ledgertest.NoteBody("turned"), okoro, func(b []byte) []byte { return replace(t, b, "text: turned", "text: \u202Eturned") })
		})},
		{name: "unknown-kind", expect: "unknown-kind", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			last(t, m, ledgertest.NoteBody("later"), okoro, func(b []byte) []byte { return replace(t, b, "kind: note", "kind: later") })
		})},
		{name: "bad-signature", expect: "bad-signature", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			raw := signed(t, text(t, m, origin, ledgertest.NoteBody("201.6 kΩ")), okoro)
			force(t, m, origin, replace(t, raw, "201.6 kΩ", "901.6 kΩ"))
		})},
		{name: "signatures-swapped", expect: "bad-signature", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			a := signed(t, text(t, m, origin, ledgertest.NoteBody("one")), okoro)
			b := signed(t, text(t, m, origin, ledgertest.NoteBody("two")), okoro)
			force(t, m, origin, append(a[:strings.Index(string(a), "— ")], b[strings.Index(string(b), "— "):]...))
		})},
		{name: "wrong-signer", expect: "wrong-signer", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			last(t, m, ledgertest.NoteBody("by nobody"), "x.nobody", nil)
		})},
		{name: "wrong-role", expect: "wrong-signer", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			b := entry.Body{Kind: entry.Baseline}
			b.AddFamily("run", "k3f9-5")
			last(t, m, b, okoro, nil)
		})},
		{name: "key-replaced", expect: "wrong-signer", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			b := entry.Body{Kind: entry.Join}
			b.Add("person", okoro)
			b.Add("roles", "operator")
			b.Add("key", ledgertest.VKey(ledgertest.Vance)) // of somebody else
			last(t, m, b, mills, nil)
		})},
		{name: "key-file-replaced", expect: "wrong-signer", make: bytesOf(func(t testing.TB, b []byte) []byte {
			return alter(t, b, "log-1/keys/s.okoro", ".pem", "MCow", "MCox")
		})},
		{name: "retired-key", expect: "retired-key", make: of(func(t testing.TB, m *ledgertest.Memory, _ *ledgertest.Records) {
			b := entry.Body{Kind: entry.Retire}
			b.Add("person", okoro)
			b.Add("key", ledgertest.VKey(okoro))
			b.Add("reason", "left the team")
			last(t, m, b, mills, nil)
			last(t, m, ledgertest.NoteBody("still here"), okoro, nil)
		})},
		{name: "entry-removed", expect: "missing-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) { r.Notes[9] = nil })},
		{name: "end-removed", expect: "missing-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) { r.Notes = r.Notes[:13] })},
		{name: "entry-doubled", expect: "doubled-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			raw := r.Notes[14]
			force(t, m, origin, raw)
		})},
		{name: "entry-moved", expect: "moved-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			r.Notes[13], r.Notes[14] = r.Notes[14], r.Notes[13]
		})},
		{name: "foreign-entry", expect: "foreign-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			other := sample(t, otherCar)
			force(t, m, origin, other.Logs[otherCar].Notes[14])
		})},
		{name: "witness-of-another-entry", expect: "foreign-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			b := entry.Body{Kind: entry.Witness}
			b.AddNumber("entry", 8)
			b.Add("leaf", entry.FormatHash([32]byte{1}))
			last(t, m, b, ledgertest.Vance, nil)
		})},
		{name: "bad-root", expect: "bad-root", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			last(t, m, ledgertest.NoteBody("of another history"), okoro, func(b []byte) []byte {
				at := strings.Index(string(b), "root: ") + 6
				return append(append(b[:at:at], entry.FormatHash([32]byte{7})...), b[at+44:]...)
			})
		})},
		{name: "checkpoint-of-another-log", expect: "bad-checkpoint", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			r.Checkpoint = sample(t, otherCar).Logs[otherCar].Checkpoint
		})},
		{name: "checkpoint-by-another-key", expect: "bad-checkpoint", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			at := strings.LastIndex(string(r.Checkpoint), " ") + 20
			r.Checkpoint[at] = map[bool]byte{true: 'B', false: 'A'}[r.Checkpoint[at] == 'A']
		})},
		{name: "cosignature-altered", expect: "bad-checkpoint", make: func(t testing.TB) []byte {
			return cosignedBundle(t, func(c *bundle.Cosigned) {
				raw := append([]byte(nil), c.Checkpoint...)
				at := strings.LastIndex(string(raw), " ") + 40
				raw[at] = map[bool]byte{true: 'B', false: 'A'}[raw[at] == 'A']
				c.Checkpoint = raw
			})
		}},
		{name: "rolled-back", expect: "rolled-back", against: "grown", make: of(nil)},
		{name: "history-rewritten", expect: "diverged", against: "grown", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			l := ledgertest.Open(t, m, origin)
			ledgertest.Append(t, l, ledgertest.NoteBody("another ending"), okoro)
		})},
		{name: "grown-twice", expect: "none", against: "grown", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			grow(t, m, r)
			ledgertest.Append(t, ledgertest.Open(t, m, origin), ledgertest.NoteBody("and again"), okoro)
		})},
		{name: "rolled-back-and-rewritten", expect: "diverged,rolled-back", against: "grown-twice", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			ledgertest.Append(t, ledgertest.Open(t, m, origin), ledgertest.NoteBody("another ending"), okoro)
		})},
		{name: "handed-over", expect: "none", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) { goOn(t, m) })},
		{name: "handed-over-and-went-on", expect: "none", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			goOn(t, m)
			grow(t, m, r)
		})},
		{name: "handed-over-and-rewritten", expect: "diverged", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			shorter := m.Clone()
			grow(t, m, r)
			goOn(t, m)
			m.Logs[origin] = shorter.Logs[origin]
			ledgertest.Append(t, ledgertest.Open(t, m, origin), ledgertest.NoteBody("another ending"), okoro)
		})},
		{name: "handed-over-and-rolled-back", expect: "rolled-back", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			shorter := m.Clone()
			grow(t, m, r)
			goOn(t, m)
			m.Logs[origin] = shorter.Logs[origin]
		})},
		{name: "entries-swapped-between-cars", expect: "foreign-entry,foreign-entry", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			m.Logs[otherCar] = sample(t, otherCar).Logs[otherCar]
			other := m.Logs[otherCar]
			r.Notes[14], other.Notes[14] = other.Notes[14], r.Notes[14]
			for _, of := range []string{origin, otherCar} {
				x := m.Logs[of]
				hashes, err := tlog.StoredHashes(14, x.Notes[14], reader(x))
				require.NoError(t, err)
				x.Hashes = append(x.Hashes[:tlog.StoredHashIndex(0, 14)], hashes...)
				seal(t, m, of)
			}
		})},
		{name: "blob-missing", expect: "missing-blob", make: of(func(t testing.TB, m *ledgertest.Memory, r *ledgertest.Records) {
			for d, b := range m.Blobs {
				if string(b) == "the plan" {
					delete(m.Blobs, d)
				}
			}
		})},
		{name: "blob-altered", expect: "altered-blob", make: bytesOf(func(t testing.TB, b []byte) []byte { return alter(t, b, "blobs/", "", "the plan", "the plot") })},
		{name: "blob-that-nothing-names", expect: "altered-blob", make: bytesOf(func(t testing.TB, b []byte) []byte {
			return repack(t, b, func(name string, data []byte) (string, []byte) { return name, data }, "blobs/ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff")
		})},
		{name: "file-altered", expect: "altered-blob", make: bytesOf(func(t testing.TB, b []byte) []byte {
			return alter(t, b, "car/vehicle.yaml", "", "Sandpiper", "Sandpipes")
		})},
		{name: "practice-denied", expect: "practice-as-evidence", make: func(t testing.TB) []byte {
			return alter(t, pack(t, contents(t, sample(t, origin+"/practice"))), "bundle.txt", "", "practice: yes\nlog", "practice: no\nlog")
		}},
		{name: "zip-cut-short", expect: "malformed-entry", make: bytesOf(func(t testing.TB, b []byte) []byte { return b[:len(b)-100] })},
		{name: "zip-with-something-after", expect: "malformed-entry", make: bytesOf(func(t testing.TB, b []byte) []byte { return append(b, "more"...) })},
		{name: "zip-byte-flipped", expect: "malformed-entry", make: bytesOf(func(t testing.TB, b []byte) []byte { b[len(b)/2] ^= 1; return b })},
		{name: "zip-climbs-out", expect: "malformed-entry", make: renamed("car/vehicle.yaml", "car/../../cl.yaml")},
		{name: "zip-look-alike-name", expect: "malformed-entry", make: renamed("car/vehicle.yaml", "car/vehiсe.yaml")},
		{name: "zip-names-in-capitals", expect: "malformed-entry", make: func(t testing.TB) []byte {
			b := pack(t, contents(t, sample(t, origin)))
			return alter(t, twice(t, b, "car/vehicle.yaml", "car/Vehicle.yaml"), "bundle.txt", "", "file: ", sameFile(t, b, "car/Vehicle.yaml"))
		}},
		{name: "zip-doubled-name", expect: "malformed-entry", make: renamed("log-1/entries/000014.note", "log-1/entries/000013.note")},
		{name: "zip-compressed", expect: "malformed-entry", make: bytesOf(inBothHeaders(8, 10, 8))},
		{name: "zip-encrypted", expect: "malformed-entry", make: bytesOf(inBothHeaders(6, 8, 1))},
		{name: "zip-link", expect: "malformed-entry", make: bytesOf(func(t testing.TB, b []byte) []byte {
			at := strings.LastIndex(string(b), "PK\x01\x02")
			b[at+5] = 3                                            // made by: Unix
			binary.LittleEndian.PutUint32(b[at+38:], 0o120777<<16) // a symbolic link
			return b
		})},
		{name: "zip-bomb", expect: "malformed-entry", make: bytesOf(func(t testing.TB, b []byte) []byte {
			at := strings.LastIndex(string(b), "PK\x01\x02")
			binary.LittleEndian.PutUint32(b[at+20:], 0xFFFFFFF0)
			binary.LittleEndian.PutUint32(b[at+24:], 0xFFFFFFF0)
			return b
		})},
	}
}

// alter replaces text within the member whose name begins and ends so, by
// text of any length, and packs the container again with right checksums: what
// somebody does who knows ZIP.
func alter(t testing.TB, b []byte, begins, ends, old, with string) []byte {
	t.Helper()
	done := false
	out := repack(t, b, func(name string, data []byte) (string, []byte) {
		if !done && strings.HasPrefix(name, begins) && strings.HasSuffix(name, ends) && strings.Contains(string(data), old) {
			done = true
			return name, []byte(strings.Replace(string(data), old, with, 1))
		}
		return name, data
	})
	require.True(t, done, "%s…%s holds %q", begins, ends, old)
	return out
}

// twice adds a member that is another one under a name that stands before it.
func twice(t testing.TB, b []byte, name, before string) []byte {
	t.Helper()
	return repackAll(t, b, func(n string, data []byte) []bundle.NamedBytes {
		if n == name {
			return []bundle.NamedBytes{{Name: before, Data: data}, {Name: n, Data: data}}
		}
		return []bundle.NamedBytes{{Name: n, Data: data}}
	})
}

// sameFile gives the beginning of the manifest's lines of files with one more,
// of the same bytes as the first.
func sameFile(t testing.TB, b []byte, name string) string {
	t.Helper()
	at := strings.Index(string(b), "file: ")
	require.Positive(t, at)
	return string(b[at:at+len("file: ")+64]) + " " + name + "\nfile: "
}

func renamed(from, to string) func(t testing.TB) []byte {
	return bytesOf(func(t testing.TB, b []byte) []byte {
		done := false
		out := repack(t, b, func(name string, data []byte) (string, []byte) {
			if name == from {
				done = true
				return to, data
			}
			return name, data
		})
		require.True(t, done)
		return out
	})
}

// inBothHeaders sets a field of the first member where its two headers have it.
func inBothHeaders(local, central int, value byte) func(t testing.TB, b []byte) []byte {
	return func(t testing.TB, b []byte) []byte {
		b[local] |= value
		b[strings.Index(string(b), "PK\x01\x02")+central] |= value
		return b
	}
}

// repack goes over the members with another's eyes: by the ZIP format alone.
// What is named extra is added at the end, empty.
func repack(t testing.TB, b []byte, change func(name string, data []byte) (string, []byte), extra ...string) []byte {
	t.Helper()
	return repackAll(t, b, func(name string, data []byte) []bundle.NamedBytes {
		name, data = change(name, data)
		return []bundle.NamedBytes{{Name: name, Data: data}}
	}, extra...)
}

func repackAll(t testing.TB, b []byte, change func(name string, data []byte) []bundle.NamedBytes, extra ...string) []byte {
	t.Helper()
	le := binary.LittleEndian
	var out, directory []byte
	count := 0
	put := func(head []byte, name string, data []byte) {
		count++
		h := append([]byte(nil), head[:30]...)
		le.PutUint32(h[14:], crc32.ChecksumIEEE(data))
		le.PutUint32(h[18:], uint32(len(data)))
		le.PutUint32(h[22:], uint32(len(data)))
		le.PutUint16(h[26:], uint16(len(name)))
		d := append([]byte("PK\x01\x02\x14\x00"), h[4:30]...)
		d = append(d, make([]byte, 10)...)
		d = le.AppendUint32(d, uint32(len(out)))
		directory = append(append(directory, d...), name...)
		out = append(append(append(out, h...), name...), data...)
	}
	for at := 0; le.Uint32(b[at:]) == 0x04034b50; {
		size, length := int(le.Uint32(b[at+18:])), int(le.Uint16(b[at+26:]))
		for _, m := range change(string(b[at+30:at+30+length]), b[at+30+length:at+30+length+size]) {
			put(b[at:], m.Name, m.Data)
		}
		at += 30 + length + size
	}
	for _, name := range extra {
		put(b, name, nil)
	}
	e := append([]byte(nil), b[len(b)-22:]...)
	le.PutUint16(e[8:], uint16(count))
	le.PutUint16(e[10:], uint16(count))
	le.PutUint32(e[12:], uint32(len(directory)))
	le.PutUint32(e[16:], uint32(len(out)))
	return append(append(out, directory...), e...)
}

func (m made1) sidecar() string {
	s := "expect: " + m.expect + "\n"
	if m.against != "" {
		s += "against: " + m.against + ".zip\n"
	}
	if m.evidence {
		s += "evidence: yes\n"
	}
	return s
}

// TestMade packs every bundle of testdata/bundles again and finds the same
// bytes there (-update writes them), and exactly the fault it was made for.
func TestMade(t *testing.T) {
	bundles := map[string][]byte{}
	covered := map[string]bool{}
	for _, m := range all() {
		require.NotContains(t, bundles, m.name)
		data := m.make(t)
		bundles[m.name], covered[m.expect] = data, true
		for file, want := range map[string][]byte{m.name + ".zip": data, m.name + ".expect": []byte(m.sidecar())} {
			file = filepath.Join(folder, file)
			if *update {
				require.NoError(t, os.MkdirAll(folder, 0o755))
				require.NoError(t, os.WriteFile(file, want, 0o644))
			}
			got, err := os.ReadFile(file)
			require.NoError(t, err, "go test ./internal/bundle -run TestMade -update writes it")
			require.True(t, string(want) == string(got), "%s is not what is packed now", file)
		}
	}
	files, err := filepath.Glob(folder + "/*.zip")
	require.NoError(t, err)
	assert.Equal(t, len(bundles), len(files), "nothing else lies there")
	assert.Equal(t, 53, len(bundles))
	for _, code := range ledger.Codes() {
		assert.True(t, covered[string(code)], "a bundle is made to fail with %s", code)
	}
	for _, m := range all() {
		t.Run(m.name, func(t *testing.T) {
			var want []ledger.Code
			for code := range strings.SplitSeq(m.expect, ",") {
				if code != "none" {
					want = append(want, ledger.Code(code))
				}
			}
			var older []byte
			if m.against != "" {
				older = bundles[m.against]
			}
			assert.Equal(t, want, verify(t, bundles[m.name], older, m.evidence))
		})
	}
}
