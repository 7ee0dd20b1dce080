package ledger

import (
	"context"
	"errors"
	"slices"

	"hvproof/internal/people"
)

// otherCopy is what the checkpoint of VerifyOptions.Other is called.
const otherCopy = "the checkpoint of the other copy"

// A compared is a checkpoint to hold the log against, and how it is called.
type compared struct {
	Checkpoint
	name string
	raw  []byte
	err  error
}

func readCompared(name string, raw []byte) compared {
	c := compared{name: name, raw: raw}
	if raw == nil {
		c.err = errors.New("there is none")
		return c
	}
	c.Checkpoint, c.err = ParseCheckpoint(raw)
	return c
}

// last is the entry that a fault of the checkpoint is about.
func (v *verifier) last(c compared) int64 {
	if c.err == nil {
		return c.Size - 1
	}
	return max(v.count-1, 0)
}

// signed says what is wrong with the checkpoint itself, "" if nothing.
func (v *verifier) signed(c compared) string {
	if c.err != nil {
		return c.err.Error()
	}
	if c.Origin != v.origin {
		return "it is of the log " + c.Origin
	}
	if _, key := v.fold.register.LogKey(); key == nil {
		return "no entry 0 says with which key it should be signed"
	} else if !c.Verify(key) {
		return "it is not signed with the log's key"
	}
	return ""
}

// checkCheckpoint holds the log's own checkpoint against the entries. Where
// entries are not in their place, it cannot match, and that was said.
func (v *verifier) checkCheckpoint(inOrder bool) {
	c := v.checkpoint
	if v.count == 0 && c.raw == nil {
		return // no log at all; that was said
	}
	wrong := v.signed(c)
	switch {
	case wrong == "" && inOrder && c.Size < v.count:
		wrong = "it leaves out entries that lie after it"
	case wrong == "" && inOrder && !v.hadRoot(c):
		wrong = "its root is not that of the entries"
	}
	if wrong != "" {
		v.faults = append(v.faults, finding(v.last(c), BadCheckpoint, "%s: %s", c.name, wrong))
	}
}

// hadRoot reports whether the tree had that root at that size, or may have.
func (v *verifier) hadRoot(c compared) bool {
	roots, ok := v.rootAt[c.Size]
	return ok && (roots == nil || slices.Contains(roots, c.Root))
}

// checkCompared holds a checkpoint from elsewhere against the log.
func (v *verifier) checkCompared(ctx context.Context, c compared) error {
	name, key := v.fold.register.LogKey()
	if c.err == nil && c.Origin == v.origin && key != nil && people.KeyHash(name, key) != c.note.KeyHash {
		v.faults = append(v.faults, finding(0, Diverged, "%s is signed with another key of the log: entry 0 was another one then", c.name))
		return nil
	}
	emptied := c.err == nil && c.Origin == v.origin && v.count == 0
	if wrong := v.signed(c); wrong != "" && !emptied {
		v.faults = append(v.faults, finding(v.last(c), BadCheckpoint, "%s: %s", c.name, wrong))
		return nil
	}
	if v.fold.losses[head{c.Size, c.Root}] {
		return nil // signed for; it stays a remark
	}
	if c.Size > v.end {
		v.faults = append(v.faults, finding(v.end, RolledBack, "%s knows %d entries, the log has %d", c.name, c.Size, v.count))
		return v.rewritten(ctx, c)
	}
	if v.hadRoot(c) {
		return nil
	}
	index := c.Size - 1
	if v.opt.Other != nil && c.name == otherCopy {
		first, err := v.firstDifference(ctx, c.Size)
		if err != nil {
			return err
		}
		index = min(first, index)
	}
	v.faults = append(v.faults, finding(index, Diverged, "%s knows other entries than the log's first %d", c.name, c.Size))
	return nil
}

// rewritten says where a log that is shorter than the other copy also has other
// entries: it was rolled back and went on differently.
func (v *verifier) rewritten(ctx context.Context, c compared) error {
	if v.opt.Other == nil || c.name != otherCopy {
		return nil
	}
	first, err := v.firstDifference(ctx, v.end)
	if err == nil && first < v.end {
		v.faults = append(v.faults, finding(first, Diverged, "%s has another entry here: the log was rolled back and went on differently", c.name))
	}
	return err
}

// firstDifference finds the first entry below size that the other copy has
// otherwise; size if there is none.
func (v *verifier) firstDifference(ctx context.Context, size int64) (int64, error) {
	first, stop := size, errors.New("found")
	err := v.opt.Other.ReadEntries(ctx, v.origin, 0, size, func(index int64, raw []byte) error {
		if index < int64(len(v.leaves)) && v.leaves[index] == Leaf(raw) {
			return nil
		}
		first = index
		return stop
	})
	if errors.Is(err, stop) {
		err = nil
	}
	return first, err
}
