package ledger

import (
	"context"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
)

// Read calls fn for the entries from ≤ index < to, in order, with the signer
// that the note names and the note's bytes. It verifies no signatures, but
// stops with an error at an entry that is missing or malformed: what is folded
// over entries must not quietly be folded over some of them.
func Read(ctx context.Context, st Storage, origin string, from, to int64, fn func(index int64, e entry.Entry, signer string, raw []byte) error) error {
	return read(ctx, st, origin, from, to, func(e entry.Entry, n Note, raw []byte) error {
		return fn(e.Index, e, n.Signer, raw)
	})
}

func read(ctx context.Context, st Storage, origin string, from, to int64, fn func(e entry.Entry, n Note, raw []byte) error) error {
	const advice = "`hvproof verify` says what is wrong"
	next := from
	err := st.ReadEntries(ctx, origin, from, to, func(index int64, raw []byte) error {
		if index != next {
			return fmt.Errorf("entry %d of %s is missing: %s", next, origin, advice)
		}
		next++
		n, err := OpenNote(raw)
		if err != nil {
			return fmt.Errorf("entry %d of %s: %w: %s", index, origin, err, advice)
		}
		e, err := entry.Parse(n.Text)
		if _, unknown := errors.AsType[*entry.UnknownKindError](err); err != nil && !unknown {
			return fmt.Errorf("entry %d of %s: %w: %s", index, origin, err, advice)
		}
		if e.Index != index || e.Origin != origin {
			return fmt.Errorf("in place of entry %d of %s stands entry %d of %s: %s", index, origin, e.Index, e.Origin, advice)
		}
		return fn(e, n, raw)
	})
	if err == nil && next < to {
		return fmt.Errorf("entry %d of %s is missing: %s", next, origin, advice)
	}
	return err
}

// Root returns the root of the tree over the first size entries, computed from
// the stored tree hashes: to be trusted as far as [Verify] found no fault.
func Root(ctx context.Context, st Storage, origin string, size int64) (tlog.Hash, error) {
	return tlog.TreeHash(size, hashReader(ctx, st, origin))
}
