package ledger

import (
	"crypto/ed25519"
	"errors"
	"maps"
	"strconv"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/people"
)

// A head says which log it was, how long, with which root.
type head struct {
	size int64
	root tlog.Hash
}

// A fold is what has to be known of the entries before to judge the next one.
// Log refuses to append what Verify would call a fault: both ask the fold.
type fold struct {
	origin   entry.Origin
	register people.Register
	signers  []string      // who signed entry i, "" where it cannot be told
	losses   map[head]bool // what was admitted as lost
}

func newFold(origin entry.Origin) *fold { return &fold{origin: origin, losses: map[head]bool{}} }

// judge looks for faults in who says what: signer, practice, and the entry that
// is confirmed. leaf gives the hash of an earlier entry and whether the given
// one is it. key is that to verify the signature with, nil if unknown.
func (f *fold) judge(e entry.Entry, n Note, isLeaf func(index int64, leaf tlog.Hash) (bool, error)) (key ed25519.PublicKey, faults []Finding, err error) {
	key, refused := f.register.Check(e, n.Signer, n.KeyHash)
	switch {
	case errors.Is(refused, people.ErrRetired):
		faults = append(faults, finding(e.Index, RetiredKey, "%v", refused))
	case refused != nil:
		faults = append(faults, finding(e.Index, WrongSigner, "%v", refused))
	}
	if e.Index == 0 && e.Kind != entry.Start {
		faults = append(faults, finding(0, WrongSigner, "entry 0 is of kind %.40s: a log begins with a start, which says whom trust starts with", e.Kind))
	}
	faults = append(faults, f.practice(e)...)
	if entry.Confirms(e.Kind) {
		found, err := f.confirms(e, n.Signer, isLeaf)
		if err != nil {
			return nil, nil, err
		}
		faults = append(faults, found...)
	}
	return key, faults, nil
}

// practice compares what an entry claims with the log's origin.
func (f *fold) practice(e entry.Entry) []Finding {
	claim, ok := e.Get("practice")
	if !ok || (claim == "yes") == f.origin.Practice {
		return nil
	}
	if f.origin.Practice {
		return []Finding{finding(e.Index, PracticeAsEvidence, "the %s entry says that it is not practice, in the practice log %s", e.Kind, f.origin)}
	}
	return []Finding{finding(e.Index, PracticeAsEvidence, "the %s entry says that it is practice, in the log %s, which claims not to be", e.Kind, f.origin)}
}

// confirms holds an entry that names another by index and leaf hash against
// that other. The second person must be another person.
func (f *fold) confirms(e entry.Entry, signer string, isLeaf func(int64, tlog.Hash) (bool, error)) ([]Finding, error) {
	of, err := strconv.ParseInt(e.Text("entry"), 10, 64)
	if err != nil || of >= e.Index {
		return []Finding{finding(e.Index, ForeignEntry, "the %s names entry %s, which does not come before it", e.Kind, e.Text("entry"))}, nil
	}
	leaf, err := entry.ParseHash(e.Text("leaf"))
	if err != nil {
		return nil, err
	}
	same, err := isLeaf(of, leaf)
	if err != nil {
		return nil, err
	}
	if !same {
		return []Finding{finding(e.Index, ForeignEntry, "the %s names entry %d by a hash that is not that entry's: what %s saw is not what is there now", e.Kind, of, signer)}, nil
	}
	second := e.Kind == entry.Witness || e.Kind == entry.Release || e.Kind == entry.Countersign
	if second && of < int64(len(f.signers)) && f.signers[of] == signer {
		return []Finding{finding(e.Index, WrongSigner, "%s signed entry %d too: a %s is another person's", signer, of, e.Kind)}, nil
	}
	return nil, nil
}

// apply advances over an entry whose signature is good and that judge found
// nothing wrong with.
func (f *fold) apply(e entry.Entry, signer string) error {
	if err := f.register.Apply(e, signer); err != nil {
		return err
	}
	if e.Kind == entry.Loss {
		size, err := strconv.ParseInt(e.Text("log-size"), 10, 64)
		if err != nil {
			return err
		}
		root, err := entry.ParseHash(e.Text("log-root"))
		if err != nil {
			return err
		}
		f.losses[head{size, root}] = true
	}
	return nil
}

// note records who signed the entry at index.
func (f *fold) note(index int64, signer string) {
	for int64(len(f.signers)) <= index {
		f.signers = append(f.signers, "")
	}
	f.signers[index] = signer
}

// clone copies what apply changes.
func (f *fold) clone() *fold {
	return &fold{f.origin, *f.register.Clone(), f.signers, maps.Clone(f.losses)}
}

// moves reports whether entries of the kind change what later ones are judged
// by, so that their signature must be good before they are applied.
func moves(k entry.Kind) bool {
	switch k {
	case entry.Start, entry.Join, entry.Accept, entry.Retire, entry.Loss:
		return true
	}
	return false
}
