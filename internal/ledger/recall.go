package ledger

import (
	"context"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"
)

// errOther says that what was kept of a log is not what lies there.
var errOther = errors.New("the entries that were kept are others")

// recall takes the entries that were verified before from where they were
// kept, in place of reading them again. Their leaves must give the root that
// was verified; those that say who may sign are looked at where they lie.
func (v *verifier) recall(ctx context.Context) error {
	var hashes [64]tlog.Hash
	for i := range v.opt.Verified.Kept {
		k := &v.opt.Verified.Kept[i]
		index := int64(i)
		if k.Entry.Index != index || k.Entry.Origin != v.origin {
			return errOther
		}
		v.count++
		v.sequence.add(index, index)
		v.leaves = append(v.leaves, k.Leaf)
		v.fold.note(index, k.Signer)
		v.tree.tree.add(k.Leaf, hashes[:0])
		if v.wanted[index+1] {
			v.rootAt[index+1] = v.tree.candidates()
		}
		if index > 0 && !moves(k.Entry.Kind) {
			continue
		}
		it := item{}
		if err := v.st.ReadEntries(ctx, v.origin, index, index+1, func(_ int64, raw []byte) error {
			it = open(index, raw)
			return nil
		}); err != nil {
			return err
		}
		if it.raw == nil || it.leaf != k.Leaf {
			return errOther
		}
		if index == 0 {
			v.first = it.raw
		}
		if ok, err := v.judgeNew(&it, true); !ok || err != nil {
			return fmt.Errorf("entry %d: %w", index, errors.Join(errOther, err))
		}
	}
	if v.tree.tree.root() != v.opt.Verified.Root {
		return errOther
	}
	if v.opt.Keep {
		v.kept = v.opt.Verified.Kept[:len(v.opt.Verified.Kept):len(v.opt.Verified.Kept)]
	}
	return nil
}
