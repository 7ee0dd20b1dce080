package ledger

import (
	"math/bits"
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// A frontier is the right edge of a growing RFC 6962 tree: the roots of its
// complete subtrees, the largest first.
type frontier struct {
	size  int64
	roots []tlog.Hash
}

func (f *frontier) clone() *frontier { return &frontier{f.size, slices.Clone(f.roots)} }

// add appends a leaf and the hashes that it brings, in stored order, to into:
// the leaf, then each subtree that it completes.
func (f *frontier) add(leaf tlog.Hash, into []tlog.Hash) []tlog.Hash {
	into = append(into, leaf)
	for range bits.TrailingZeros64(uint64(f.size + 1)) {
		last := len(f.roots) - 1
		leaf = tlog.NodeHash(f.roots[last], leaf)
		f.roots = f.roots[:last]
		into = append(into, leaf)
	}
	f.roots = append(f.roots, leaf)
	f.size++
	return into
}

// root is the root of the tree.
func (f *frontier) root() tlog.Hash {
	if f.size == 0 {
		empty, _ := tlog.TreeHash(0, nil) // SHA-256 of nothing; reads no hashes
		return empty
	}
	h := f.roots[len(f.roots)-1]
	for i := len(f.roots) - 2; i >= 0; i-- {
		h = tlog.NodeHash(f.roots[i], h)
	}
	return h
}

// edge lists the stored indexes of the roots of a frontier of that size.
func edge(size int64) []int64 {
	var indexes []int64
	for at, level := int64(0), 62; level >= 0; level-- {
		if size&(1<<level) != 0 {
			indexes = append(indexes, tlog.StoredHashIndex(level, at>>level))
			at += 1 << level
		}
	}
	return indexes
}
