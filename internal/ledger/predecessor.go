package ledger

import (
	"context"
	"errors"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
)

// A Predecessor is a log that another one goes on from: how long it was, and
// with which root, when it was handed over.
type Predecessor struct {
	Origin string
	Size   int64
	Root   tlog.Hash
}

// PredecessorOf reads which log entry 0 goes on from; false where it names
// none, or does not say from which of its entries.
func PredecessorOf(e entry.Entry) (Predecessor, bool) {
	size, err := strconv.ParseInt(e.Text("predecessor-size"), 10, 64)
	if err != nil || e.Kind != entry.Start {
		return Predecessor{}, false
	}
	root, err := entry.ParseHash(e.Text("predecessor-root"))
	return Predecessor{e.Text("predecessor"), size, root}, err == nil
}

// Check holds the log before against what entry 0 of the next one says of it,
// nil if that is true. As far as the log before is concerned it counts only if
// [Verify] found no fault in that one.
func (p Predecessor) Check(ctx context.Context, st Storage) ([]Finding, error) {
	size, err := st.Size(ctx, p.Origin)
	if err != nil {
		return nil, err
	}
	if size < p.Size {
		return []Finding{finding(0, RolledBack, "of the log before, %.200q, %d entries were handed over, and it has %d", p.Origin, p.Size, size)}, nil
	}
	root, err := Root(ctx, st, p.Origin, p.Size)
	if err != nil && !errors.Is(err, ErrNoHash) {
		return nil, err
	}
	if err == nil && root == p.Root {
		return nil, nil
	}
	return []Finding{finding(0, Diverged, "the first %d entries of the log before, %.200q, are not those that were handed over", p.Size, p.Origin)}, nil
}
