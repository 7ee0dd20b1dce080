package ledger

import (
	"slices"

	"golang.org/x/mod/sumdb/tlog"
)

// A treeCheck grows the tree from the entries and holds it against the root
// that each entry states and against the stored hashes.
//
// Where an entry's bytes and its stored leaf differ, one of them was altered.
// Both trees are grown on, and the next entry that states a root decides which
// is right: so one altered entry is one fault, not as many as there are after.
type treeCheck struct {
	tree    frontier
	other   *frontier // with stored leaves, while undecided
	lost    bool      // there is an entry of which neither bytes nor hash are there
	rootOff bool      // roots do not match, and it was said
	unkept  bool      // stored hashes are not there, and it was said
}

// add takes the entry that lies next and says what does not match. states
// tells whether the root that the entry states is to be compared.
func (t *treeCheck) add(it *item, stored []tlog.Hash, states bool) (faults []Finding) {
	if states && !t.lost {
		faults = append(faults, t.compare(it)...)
	}
	if len(stored) == 0 {
		if !t.unkept {
			faults = append(faults, finding(it.at, BadRoot, "the stored tree hashes of the entry are not there"))
		}
		t.unkept = true
		t.tree.add(it.leaf, nil)
		if t.other != nil {
			t.other.add(it.leaf, nil)
		}
		return faults
	}
	t.unkept = false
	if !t.grow(it.leaf, stored) {
		faults = append(faults, finding(it.at, BadRoot, "the bytes of the entry and its stored tree hashes do not belong together"))
	}
	return faults
}

// grow adds a leaf to the tree, or to both, and reports whether the stored
// hashes are those that come with it.
func (t *treeCheck) grow(leaf tlog.Hash, stored []tlog.Hash) bool {
	if t.lost { // of the tree nothing is known any more
		return stored[0] == leaf
	}
	if stored[0] != leaf && t.other == nil {
		t.other = t.tree.clone()
	}
	match := slices.Equal(t.tree.add(leaf, nil), stored)
	if t.other != nil {
		match = slices.Equal(t.other.add(stored[0], nil), stored) && stored[0] == leaf || match
	}
	return match
}

// compare holds the root that the entry states against the entries before.
func (t *treeCheck) compare(it *item) []Finding {
	root := tlog.Hash(it.e.Root)
	switch {
	case t.tree.root() == root:
	case t.other != nil && t.other.root() == root:
		t.tree = *t.other
	default:
		t.other = nil
		if t.rootOff {
			return nil
		}
		t.rootOff = true
		return []Finding{finding(it.at, BadRoot, "%s signed other entries before this one than lie there now", it.note.Signer)}
	}
	t.other, t.rootOff = nil, false
	return nil
}

// skip goes past an entry that is not there, by its stored hash if it can.
func (t *treeCheck) skip(stored []tlog.Hash) {
	if len(stored) == 0 {
		t.lost = true
		return
	}
	t.tree.add(stored[0], nil)
	if t.other != nil {
		t.other.add(stored[0], nil)
	}
}

// candidates lists what the root may be: none if that cannot be told.
func (t *treeCheck) candidates() []tlog.Hash {
	switch {
	case t.lost:
		return nil
	case t.other != nil:
		return []tlog.Hash{t.tree.root(), t.other.root()}
	}
	return []tlog.Hash{t.tree.root()}
}
