package ledger

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"errors"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
)

// An item is one entry on its way through Verify.
type item struct {
	at      int64 // where the storage has it
	raw     []byte
	note    Note
	e       entry.Entry
	unknown *entry.UnknownKindError
	err     error // why it is malformed
	leaf    tlog.Hash
	key     ed25519.PublicKey // to verify with; nil: not to be verified
}

// ours reports whether the item can say what its place in the log is.
func (it *item) ours(origin string) bool { return it.err == nil && it.e.Origin == origin }

// A batch is a run of entries that are read and verified together.
type batch struct {
	from, to int64
	known    int64 // entries below it were verified before
	items    []item
	stored   [][]tlog.Hash // per place from from on; nil: not there
	ready    chan error
}

// prepare does all that needs no other entries.
func (b *batch) prepare(ctx context.Context, st Storage, origin string) error {
	b.items = make([]item, 0, b.to-b.from)
	take := func(index int64, raw []byte) {
		if index < b.known {
			b.items = append(b.items, openKnown(index, raw))
		} else {
			b.items = append(b.items, open(index, raw))
		}
	}
	if rows, ok := st.(RowReader); ok {
		b.stored = make([][]tlog.Hash, b.to-b.from)
		return rows.ReadRows(ctx, origin, b.from, b.to, func(index int64, raw []byte, hashes []tlog.Hash) error {
			take(index, raw)
			b.stored[index-b.from] = hashes
			return nil
		})
	}
	err := st.ReadEntries(ctx, origin, b.from, b.to, func(index int64, raw []byte) error {
		take(index, raw)
		return nil
	})
	if err != nil {
		return err
	}
	return b.readHashes(ctx, st, origin)
}

// openKnown takes an entry apart that was verified before. If its bytes are
// others now, its leaf tells.
func openKnown(index int64, raw []byte) item {
	it := item{at: index, raw: raw, leaf: Leaf(raw)}
	text, line, ok := bytes.Cut(raw, []byte("\n\n"))
	name, _, found := bytes.Cut(line[min(len(line), len("— ")):], []byte(" "))
	if !ok || !found {
		it.err = errors.New("not a signed note")
		return it
	}
	it.note = Note{Text: raw[:len(text)+1], Signer: string(name)}
	if it.e, it.err = entry.ParseKnown(it.note.Text); moves(it.e.Kind) {
		return open(index, raw) // what it brings in is looked at again
	}
	return it
}

func open(index int64, raw []byte) item {
	it := item{at: index, raw: raw, leaf: Leaf(raw)}
	if it.note, it.err = OpenNote(raw); it.err != nil {
		return it
	}
	it.e, it.err = entry.Parse(it.note.Text)
	if unknown, ok := errors.AsType[*entry.UnknownKindError](it.err); ok {
		it.unknown, it.err = unknown, nil
	}
	return it
}

// readHashes reads the tree hashes of the batch at once, or, where some are
// not there, those of one entry after the other.
func (b *batch) readHashes(ctx context.Context, st Storage, origin string) error {
	b.stored = make([][]tlog.Hash, b.to-b.from)
	all, err := st.ReadHashes(ctx, origin, span(b.from, b.to))
	if err != nil && !errors.Is(err, ErrNoHash) {
		return err
	}
	for i := range b.stored {
		index := b.from + int64(i)
		if err == nil {
			n := len(span(index, index+1))
			b.stored[i], all = all[:n:n], all[n:]
			continue
		}
		own, err := st.ReadHashes(ctx, origin, span(index, index+1))
		if err != nil && !errors.Is(err, ErrNoHash) {
			return err
		}
		if err == nil {
			b.stored[i] = own
		}
	}
	return nil
}

// span lists the indexes of the tree hashes that came with those entries.
func span(from, to int64) []int64 {
	first, last := tlog.StoredHashIndex(0, from), tlog.StoredHashIndex(0, to)
	indexes := make([]int64, 0, last-first)
	for i := first; i < last; i++ {
		indexes = append(indexes, i)
	}
	return indexes
}

func (b *batch) hashes(index int64) []tlog.Hash { return b.stored[index-b.from] }

// signatures verifies those whose key is known; that the note names just this
// key, the register has looked at.
func (b *batch) signatures() []Finding {
	var faults []Finding
	for i := range b.items {
		if it := &b.items[i]; it.key != nil && !it.note.verify(it.key) {
			faults = append(faults, finding(it.at, BadSignature, "the signature of %s does not belong to this text", it.note.Signer))
		}
	}
	return faults
}
