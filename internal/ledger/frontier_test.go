package ledger

import (
	"encoding/hex"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/transparency-dev/merkle/compact"
	"github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"
	"golang.org/x/mod/sumdb/tlog"
)

// TestMerkleRoots: the leaves that are commonly used to test RFC 6962 logs, and
// roots computed elsewhere (5-figures, section 15, extra row, which gives the
// first and last bytes of those of 0, 1, 2 and 8 leaves).
func TestMerkleRoots(t *testing.T) {
	leaves := []string{"", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f"}
	want := map[int][2]string{0: {"e3b0c442", "b855"}, 1: {"6e340b9c", "a01d"}, 2: {"fac54203", "c125"}, 8: {"5dc9da79", "4328"}}
	var f frontier
	checked := 0
	for i := 0; ; i++ {
		if ends, ok := want[i]; ok {
			root := f.root()
			got := hex.EncodeToString(root[:])
			assert.Equal(t, ends, [2]string{got[:8], got[60:]}, "%d leaves", i)
			checked++
		}
		if i == len(leaves) {
			break
		}
		leaf, err := hex.DecodeString(leaves[i])
		require.NoError(t, err)
		f.add(Leaf(leaf), nil)
	}
	assert.Equal(t, 4, checked)
}

// TestFrontierAgainstOthers grows a log and compares roots, stored hashes and
// the paths of inclusion and consistency with two other implementations: that
// of tlog, and the independent one of transparency-dev/merkle.
func TestFrontierAgainstOthers(t *testing.T) {
	const n = 70
	var f frontier
	var stored []tlog.Hash
	reader := tlog.HashReaderFunc(func(indexes []int64) ([]tlog.Hash, error) {
		list := make([]tlog.Hash, len(indexes))
		for i, index := range indexes {
			list[i] = stored[index]
		}
		return list, nil
	})
	independent := (&compact.RangeFactory{Hash: rfc6962.DefaultHasher.HashChildren}).NewEmptyRange(0)
	roots := [][]byte{rfc6962.DefaultHasher.EmptyRoot()}
	var leaves [][]byte
	for i := range int64(n) {
		raw := fmt.Appendf(nil, "entry %d", i)
		want, err := tlog.StoredHashes(i, raw, reader)
		require.NoError(t, err)
		got := f.add(Leaf(raw), nil)
		require.Equal(t, want, got, "hashes that come with entry %d", i)
		require.Equal(t, len(span(i, i+1)), len(got))
		stored = append(stored, got...)

		leaves = append(leaves, rfc6962.DefaultHasher.HashLeaf(raw))
		require.NoError(t, independent.Append(leaves[i], nil))
		theirs, err := independent.GetRootHash(nil)
		require.NoError(t, err)
		root := f.root()
		require.Equal(t, theirs, root[:], "root of %d", i+1)
		roots = append(roots, theirs)

		atEdge, err := reader.ReadHashes(edge(i + 1))
		require.NoError(t, err)
		require.Equal(t, f.roots, atEdge, "the edge of %d", i+1)
	}
	for size := int64(1); size <= n; size++ {
		for index := range size {
			path, err := tlog.ProveRecord(size, index, reader)
			require.NoError(t, err)
			require.NoError(t, proof.VerifyInclusion(rfc6962.DefaultHasher, uint64(index), uint64(size), leaves[index], bytesOf(path), roots[size]))
		}
		for older := int64(1); older <= size; older++ {
			path, err := tlog.ProveTree(size, older, reader)
			require.NoError(t, err)
			require.NoError(t, proof.VerifyConsistency(rfc6962.DefaultHasher, uint64(older), uint64(size), bytesOf(path), roots[older], roots[size]))
		}
	}
}

func bytesOf(path []tlog.Hash) [][]byte {
	list := make([][]byte, len(path))
	for i := range path {
		list[i] = path[i][:]
	}
	return list
}
