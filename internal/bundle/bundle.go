package bundle

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"sort"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/ledger"
)

// What a member may have at most, in bytes.
const (
	maxHead   = 64 << 10
	maxKey    = 1 << 10
	maxNote   = entry.MaxText + 1024 // the blank line and a signature
	maxBeside = 64 << 20
	maxBlob   = 1 << 30
)

// maxAbsent is how many entries may be missing before another before it is no
// bundle at all: to look for entries costs memory, which must not be had for a
// few bytes.
const maxAbsent = 1 << 20

// A Bundle is an open bundle: a [ledger.Storage] for reading. It keeps the
// places of members and the tree hashes in memory, and reads the rest when it
// is asked for.
type Bundle struct {
	Manifest
	r     io.ReaderAt
	logs  []*log // as Manifest.Logs
	files map[string]slot
	blobs map[[32]byte]slot
	named map[[32]byte]bool // blobs whose digest stands in an entry
}

// A slot says where the bytes of a member lie; sum is the SHA-256 that files
// and blobs had when the bundle was opened.
type slot struct {
	at, size int64
	sum      [32]byte
}

// A log is one log of a bundle.
type log struct {
	checkpoint   []byte // as the log signed it
	cosigned     []byte // the same with cosignatures
	cosignatures []Cosignature
	cosigners    []byte
	keys         []NamedBytes
	entries      []indexed
	hashes       []tlog.Hash // of the entries that are there, one after the other
	gap          bool
}

// indexed is an entry's place: first is where its tree hashes begin.
type indexed struct {
	index int64
	slot
	first int
}

func (l *log) size() int64 {
	if len(l.entries) == 0 {
		return 0
	}
	return l.entries[len(l.entries)-1].index + 1
}

// Open reads a bundle of that many bytes once from end to end and compares
// every byte of its container, and the checksum of every member, with what
// Write would have written. A [MalformedError] says what is otherwise. What the
// members say is for ledger.Verify and [Bundle.Check].
func Open(r io.ReaderAt, size int64) (*Bundle, error) {
	b := &Bundle{r: r, files: map[string]slot{}, blobs: map[[32]byte]slot{}, named: map[[32]byte]bool{}}
	var last *place
	err := readAll(r, size, func(m member, data io.Reader) error {
		p, ok := locate(m.name)
		switch {
		case !ok:
			return malformed("%q is no member of a bundle", m.name)
		case last == nil && p.section != inManifest:
			return malformed("the first member is not %s", manifestName)
		case last != nil && !last.before(p):
			return malformed("%q is there twice, or not in its place", m.name)
		case m.size > p.limit():
			return malformed("%q has %d bytes, and %d are the most", m.name, m.size, p.limit())
		}
		last = &p
		return b.take(p, m, data)
	})
	if err != nil {
		return nil, err
	}
	if last == nil {
		return nil, malformed("it is empty")
	}
	return b, b.complete()
}

// take keeps what is needed of a member.
func (b *Bundle) take(p place, m member, data io.Reader) error {
	if p.section > inFiles && p.section < inBlobs && p.log >= len(b.logs) {
		return malformed("%q is of a log that %s does not name", m.name, manifestName)
	}
	where := slot{at: m.data(), size: m.size}
	if p.section == inFiles || p.section == inBlobs {
		sum := sha256.New() // as the bytes pass by: they may be many
		if _, err := io.Copy(sum, data); err != nil {
			return err
		}
		sum.Sum(where.sum[:0])
		if p.section == inFiles {
			b.files[p.name] = where
		} else {
			b.blobs[p.digest] = where
		}
		return nil
	}
	raw, err := io.ReadAll(data)
	if err != nil {
		return err
	}
	switch p.section {
	case inManifest:
		read, err := parseManifest(raw)
		if err != nil {
			return err
		}
		b.Manifest = *read
		for range b.Logs {
			b.logs = append(b.logs, &log{})
		}
	case inHead:
		return b.logs[p.log].takeHead(raw)
	case inCosigners:
		b.logs[p.log].cosigners = raw
	case inKeys:
		l := b.logs[p.log]
		if l.keys = append(l.keys, NamedBytes{p.name, raw}); len(l.keys) > maxNames {
			return malformed("there are more than %d keys", maxNames)
		}
	case inEntries:
		b.mentions(raw)
		return b.logs[p.log].add(p.index, where, raw)
	}
	return nil
}

// mentions notes every line of an entry that ends like a blob's digest.
func (b *Bundle) mentions(raw []byte) {
	for line := range bytes.Lines(raw) {
		_, value, _ := bytes.Cut(bytes.TrimSuffix(line, []byte("\n")), []byte(": "))
		if digest := [32]byte{}; len(value) == 2*len(digest) {
			if _, err := hex.Decode(digest[:], value); err == nil {
				b.named[digest] = true
			}
		}
	}
}

// maxNames bounds the keys of one log.
const maxNames = 10_000

// takeHead reads a checkpoint. One that cannot be read is kept as it is: the
// ledger names the fault.
func (l *log) takeHead(raw []byte) error {
	l.checkpoint, l.cosigned = raw, raw
	if own, others, err := SplitCheckpoint(raw); err == nil {
		l.checkpoint, l.cosignatures = own, others
	}
	return nil
}

// add takes the next entry that is there and computes the tree hashes that
// belong to it. Behind an entry that is missing only leaves are known.
func (l *log) add(index int64, where slot, raw []byte) error {
	if index-int64(len(l.entries)) > maxAbsent {
		return malformed("more than %d entries are missing before entry %d", maxAbsent, index)
	}
	l.gap = l.gap || index != int64(len(l.entries))
	leaf := ledger.Leaf(raw)
	added := []tlog.Hash{leaf}
	if l.gap {
		added = append(added, make([]tlog.Hash, tlog.StoredHashIndex(0, index+1)-tlog.StoredHashIndex(0, index)-1)...)
	} else {
		var err error
		if added, err = tlog.StoredHashesForRecordHash(index, leaf, l); err != nil {
			return err
		}
	}
	l.entries = append(l.entries, indexed{index, where, len(l.hashes)})
	l.hashes = append(l.hashes, added...)
	return nil
}

// ReadHashes lets tlog read the hashes of a log without gaps.
func (l *log) ReadHashes(indexes []int64) ([]tlog.Hash, error) {
	out := make([]tlog.Hash, len(indexes))
	for i, at := range indexes {
		h, ok := l.hash(at)
		if !ok {
			return nil, fmt.Errorf("tree hash %d: %w", at, ledger.ErrNoHash)
		}
		out[i] = h
	}
	return out, nil
}

// hash gives a stored tree hash: it came with the entry that completed the
// subtree.
func (l *log) hash(at int64) (tlog.Hash, bool) {
	if at < 0 || at >= tlog.StoredHashIndex(0, l.size()) {
		return tlog.Hash{}, false
	}
	level, n := tlog.SplitStoredHashIndex(at)
	e, ok := l.find((n+1)<<level - 1)
	if !ok {
		return tlog.Hash{}, false
	}
	return l.hashes[l.entries[e].first+level], true
}

// find gives the position in entries of the one with the index.
func (l *log) find(index int64) (int, bool) {
	if index < int64(len(l.entries)) && l.entries[index].index == index {
		return int(index), true
	}
	e := sort.Search(len(l.entries), func(i int) bool { return l.entries[i].index >= index })
	return e, e < len(l.entries) && l.entries[e].index == index
}

// complete looks at what can be said only at the end.
func (b *Bundle) complete() error {
	for _, f := range b.Files {
		if _, ok := b.files[f.Name]; !ok {
			return malformed("%s names %s, which is not there", manifestName, f.Name)
		}
	}
	if len(b.files) != len(b.Files) {
		return malformed("there is a file that %s does not name", manifestName)
	}
	return nil
}

func (b *Bundle) log(origin string) *log {
	if i, ok := slices.BinarySearch(b.Logs, origin); ok {
		return b.logs[i]
	}
	return &log{}
}

func (b *Bundle) read(s slot) ([]byte, error) {
	data := make([]byte, s.size)
	if err := readAt(b.r, data, s.at); err != nil {
		return nil, err
	}
	return data, nil
}

// File gives the bytes of a file beside the logs; false if it is not there.
func (b *Bundle) File(name string) ([]byte, bool, error) {
	s, ok := b.files[name]
	if !ok {
		return nil, false, nil
	}
	data, err := b.read(s)
	return data, err == nil, err
}
