package ledger

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"crypto/sha256"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"

	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/people"
)

// VerifyOptions says what to hold a log against.
type VerifyOptions struct {
	// Remembered is the checkpoint that this device saw last, nil if none.
	Remembered []byte
	// Against are checkpoints from elsewhere: a report, a second copy.
	Against [][]byte
	// Other is another storage that has the same log, nil if none.
	Other Storage
	// AsEvidence makes practice a fault: not-evidence.
	AsEvidence bool
	// Verified is what was verified before, by the same version of the program
	// and on this device; zero for nothing. As long as nothing is amiss, the
	// signatures below it and the blobs that entries below it name are not
	// verified again: the tree over the entries tells that they are the same. With
	// an Observer everything is.
	Verified Verified
	// Observer, if not nil, is called in order for every entry of this log
	// that is well formed and of a known kind. What it saw is worth something
	// only if there are no faults.
	Observer func(index int64, e entry.Entry, signer string, raw []byte)
	// Keep asks for the entries in the report, so that what is concluded from a
	// log is what was verified, read and parsed once.
	Keep bool
	// Workers is how many goroutines verify signatures; 0 for one per core.
	Workers int
}

// Verified says how far a log was verified: so many entries, over which the
// tree has that root.
type Verified struct {
	Size int64
	Root tlog.Hash
	// Kept, if not nil, are all those entries as a verification kept them. They
	// are not read again: the caller knows that nothing was written since to
	// where they lie.
	Kept []Kept
}

// A Report is the answer of [Verify]. No faults means that it all adds up.
type Report struct {
	Origin      string
	Entries     int64  // how many there are
	Known       int64  // how many of them were verified before and are the same; see VerifyOptions
	Checkpoint  []byte // the newest one, as it is stored
	Practice    bool   // as the origin says
	Fingerprint string // of entry 0, in grouped digits; "" if it is not there
	People      *people.Register
	Faults      []Finding // by entry, then in the order of the codes' list
	Kept        []Kept    // every entry in order, where that was asked for and there are no faults
}

// A Kept is one entry of a log without faults.
type Kept struct {
	Entry  entry.Entry
	Leaf   tlog.Hash
	Signer string
}

// OK reports whether there are no faults.
func (r Report) OK() bool { return len(r.Faults) == 0 }

// Verify checks a whole log: each signature, whether the signer might sign
// that, index, origin, the root over the entries before, order, checkpoint,
// the blobs that entries name, and the checkpoints of the options. It finds
// all faults that it can tell apart and does not stop at the first; the error
// is for a machine that failed.
func Verify(ctx context.Context, st Storage, origin string, opt VerifyOptions) (Report, error) {
	o, err := entry.ParseOrigin(origin)
	if err != nil {
		return Report{}, err
	}
	if opt.Workers <= 0 {
		opt.Workers = runtime.GOMAXPROCS(0)
	}
	if opt.Verified.Size > 0 && opt.Observer == nil {
		root, err := Root(ctx, st, origin, opt.Verified.Size)
		if err == nil && root == opt.Verified.Root {
			// The walk holds every entry against the stored hashes that this root
			// is made of. With anything amiss, all is looked at.
			report, err := verify(ctx, st, o, opt)
			if err == nil && report.OK() || err != nil && !errors.Is(err, errOther) {
				return report, err
			}
		}
	}
	opt.Verified = Verified{}
	return verify(ctx, st, o, opt)
}

func verify(ctx context.Context, st Storage, o entry.Origin, opt VerifyOptions) (Report, error) {
	origin := o.String()
	v := &verifier{
		st: st, origin: origin, opt: opt, fold: newFold(o),
		blobs: map[[32]byte]int64{}, wanted: map[int64]bool{}, rootAt: map[int64][]tlog.Hash{},
		stored: map[int64]tlog.Hash{},
	}
	if err := v.open(ctx); err != nil {
		return Report{}, err
	}
	if opt.Verified.Kept != nil {
		if err := v.recall(ctx); err != nil {
			return Report{}, err
		}
	}
	if err := v.entries(ctx, v.count); err != nil {
		return Report{}, err
	}
	if err := v.finish(ctx); err != nil {
		return Report{}, err
	}
	report := Report{
		Origin: origin, Entries: v.count, Known: opt.Verified.Size, Checkpoint: v.checkpoint.raw, Practice: o.Practice,
		People: &v.fold.register, Faults: v.faults,
	}
	if report.OK() {
		report.Kept = v.kept
	}
	if v.first != nil {
		report.Fingerprint = people.Digits(sha256.Sum256(v.first))
	}
	return report, nil
}

// A verifier is one run of Verify. Its fields belong to the goroutine that
// folds, but for faults.
type verifier struct {
	st     Storage
	origin string
	opt    VerifyOptions
	fold   *fold

	size       int64 // what the storage says
	end        int64 // how far to look for entries
	checkpoint compared
	compare    []compared // remembered, given, the other storage's

	kept     []Kept
	count    int64  // entries found
	first    []byte // the note of entry 0
	sequence sequence
	tree     treeCheck
	leaves   []tlog.Hash         // by the index that the entry states
	stored   map[int64]tlog.Hash // where the stored leaf is another one
	blobs    map[[32]byte]int64  // digest, first entry that names it
	wanted   map[int64]bool      // tree sizes whose root will be asked for
	rootAt   map[int64][]tlog.Hash
	disguise bool // practice entries under an origin without practice were reported

	mu     sync.Mutex
	faults []Finding
}

func (v *verifier) fault(f ...Finding) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.faults = append(v.faults, f...)
}

// open reads sizes and checkpoints.
func (v *verifier) open(ctx context.Context) error {
	size, raw, err := snapshot(ctx, v.st, v.origin)
	if err != nil {
		return err
	}
	v.size = size
	v.leaves, v.fold.signers = make([]tlog.Hash, 0, min(size, maxAbsent)), make([]string, 0, min(size, maxAbsent))
	if v.opt.Keep && v.opt.Verified.Kept == nil {
		v.kept = make([]Kept, 0, min(size, maxAbsent))
	}
	v.checkpoint = readCompared("the log's checkpoint", raw)
	if c := &v.checkpoint; c.err == nil && c.Size-v.size > maxAbsent {
		c.err = fmt.Errorf("it is of %d entries, and the log has %d", c.Size, v.size)
		c.Size = 0
	}
	v.end = max(v.size, v.checkpoint.Size)
	if v.opt.Remembered != nil {
		v.compare = append(v.compare, readCompared("the remembered checkpoint", v.opt.Remembered))
	}
	for _, raw := range v.opt.Against {
		v.compare = append(v.compare, readCompared("the checkpoint to compare with", raw))
	}
	if v.opt.Other != nil {
		raw, err := v.opt.Other.Checkpoint(ctx, v.origin)
		if err != nil {
			return err
		}
		v.compare = append(v.compare, readCompared(otherCopy, raw))
	}
	for _, c := range append(v.compare, v.checkpoint) {
		v.wanted[c.Size] = true
	}
	return nil
}

// maxAbsent is how many entries may be missing at the end of a log by its own
// checkpoint: to look for them takes time, which must not be had for a number.
const maxAbsent = 1 << 20

// batchSize is how many entries are read, judged and verified together.
const batchSize = 256

// entries goes once over the log from an entry on. Reading, parsing and hashing run in
// parallel, judging in order, and verifying signatures in parallel again.
func (v *verifier) entries(ctx context.Context, from int64) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	queue := make(chan *batch, 2*v.opt.Workers)
	go func() {
		defer close(queue)
		for ; from < v.end; from += batchSize {
			b := &batch{from: from, to: min(from+batchSize, v.end), known: v.opt.Verified.Size, ready: make(chan error, 1)}
			select {
			case queue <- b:
			case <-ctx.Done():
				return
			}
			go func() { b.ready <- b.prepare(ctx, v.st, v.origin) }()
		}
	}()
	slots := make(chan struct{}, 2*v.opt.Workers)
	var checking sync.WaitGroup
	defer checking.Wait()
	for b := range queue {
		if err := <-b.ready; err != nil {
			return err
		}
		if err := v.judge(b); err != nil {
			return err
		}
		slots <- struct{}{}
		checking.Go(func() {
			v.fault(b.signatures()...)
			<-slots
		})
	}
	return ctx.Err()
}

// judge folds over a batch in order.
func (v *verifier) judge(b *batch) error {
	next := 0
	for index := b.from; index < b.to; index++ {
		var it *item
		if next < len(b.items) && b.items[next].at == index {
			it = &b.items[next]
			next++
		}
		stored := b.hashes(index)
		v.position(index, it, stored)
		if it == nil {
			continue
		}
		if err := v.judgeItem(it); err != nil {
			return err
		}
	}
	return nil
}

// position keeps order and tree up to date with what lies at index.
func (v *verifier) position(index int64, it *item, stored []tlog.Hash) {
	if it == nil {
		v.tree.skip(stored)
	} else {
		v.count++
		if index == 0 {
			v.first = it.raw
		}
		stated := index
		if it.ours(v.origin) {
			stated = it.e.Index
		}
		v.sequence.add(index, stated)
		if stated >= 0 && stated < v.end {
			for int64(len(v.leaves)) <= stated {
				v.leaves = append(v.leaves, tlog.Hash{})
			}
			if v.leaves[stated] == (tlog.Hash{}) {
				v.leaves[stated] = it.leaf
			}
			if it.err == nil {
				v.fold.note(stated, it.note.Signer)
			}
		}
		if len(stored) > 0 && stored[0] != it.leaf {
			v.stored[index] = stored[0]
		}
		states := it.ours(v.origin) && stated == index && index >= v.opt.Verified.Size
		v.fault(v.tree.add(it, stored, states)...)
	}
	if v.wanted[index+1] {
		v.rootAt[index+1] = v.tree.candidates()
	}
}

// judgeItem finds what is wrong with one entry, apart from its place and its
// signature, which is left for batch.signatures.
func (v *verifier) judgeItem(it *item) error {
	if it.err != nil {
		v.fault(finding(it.at, MalformedEntry, "%v", it.err))
		return nil
	}
	if it.e.Origin == v.origin+"/practice" {
		if !v.disguise {
			v.fault(finding(it.at, PracticeAsEvidence, "entries of the practice log %s lie under an origin that does not say so", it.e.Origin))
			v.disguise = true
		}
		return nil
	}
	if it.e.Origin != v.origin {
		v.fault(finding(it.at, ForeignEntry, "the entry is of the log %s", it.e.Origin))
		return nil
	}
	if known := it.at < v.opt.Verified.Size; !known || moves(it.e.Kind) {
		if ok, err := v.judgeNew(it, known); !ok || err != nil {
			return err
		}
	}
	if v.opt.Keep {
		v.kept = append(v.kept, Kept{it.e, it.leaf, it.note.Signer})
	}
	if v.opt.Observer != nil {
		v.opt.Observer(it.at, it.e, it.note.Signer, it.raw)
	}
	return nil
}

// judgeNew asks of an entry what its bytes alone do not tell; false for one of
// an unknown kind, of which no more can be said. known is for one that was
// verified before: its signature and blobs are not verified again.
func (v *verifier) judgeNew(it *item, known bool) (bool, error) {
	key, faults, err := v.fold.judge(it.e, it.note, v.isLeaf)
	if err != nil {
		return false, err
	}
	for i := range faults {
		faults[i].Entry = it.at
	}
	v.fault(faults...)
	if !known {
		it.key = key
	}
	if it.unknown != nil {
		v.fault(finding(it.at, UnknownKind, "%v", it.unknown))
		return false, nil
	}
	if !known {
		for _, digest := range it.e.Blobs() {
			if _, ok := v.blobs[digest]; !ok {
				v.blobs[digest] = it.at
			}
		}
	}
	if err := v.apply(it, key, len(faults) == 0); err != nil {
		v.fault(finding(it.at, WrongSigner, "%v", err))
	}
	return true, nil
}

// apply lets an entry change what later ones are judged by. A key counts only
// if its introduction was allowed and is signed. Entry 0 is taken at its word
// if it can be, fault or not: without it nothing else could be judged.
func (v *verifier) apply(it *item, key ed25519.PublicKey, allowed bool) error {
	switch {
	case it.e.Kind == entry.Start && !allowed:
		_ = v.fold.apply(it.e, it.note.Signer) // why it cannot be was reported
		return nil
	case it.e.Kind == entry.Start || allowed && moves(it.e.Kind) && it.note.verify(key):
		return v.fold.apply(it.e, it.note.Signer)
	}
	return nil
}

// isLeaf reports whether the entry at index has that leaf hash. Of an entry
// that is not there nothing can be said: its absence is the fault.
func (v *verifier) isLeaf(index int64, leaf tlog.Hash) (bool, error) {
	if index < 0 || index >= int64(len(v.leaves)) || v.leaves[index] == (tlog.Hash{}) {
		return true, nil
	}
	other, ok := v.stored[index]
	return v.leaves[index] == leaf || ok && other == leaf, nil
}

// finish compares checkpoints, looks for blobs, and puts the faults in order.
func (v *verifier) finish(ctx context.Context) error {
	place := v.sequence.faults(v.checkpoint.Size, v.size)
	if v.count == 0 && len(place) == 0 {
		place = append(place, finding(0, MissingEntry, "the log has no entries"))
	}
	v.faults = withoutEchoes(v.faults, place, v.sequence.shifted())
	v.faults = append(v.faults, place...)
	v.checkCheckpoint(len(place) == 0)
	for _, c := range v.compare {
		if err := v.checkCompared(ctx, c); err != nil {
			return err
		}
	}
	if v.opt.AsEvidence && v.fold.origin.Practice {
		v.faults = append(v.faults, finding(0, NotEvidence, "%s is a practice log: nothing in it is evidence", v.origin))
	}
	if err := v.checkBlobs(ctx); err != nil {
		return err
	}
	slices.SortStableFunc(v.faults, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(a.Entry, b.Entry), cmp.Compare(slices.Index(codes[:], a.Code), slices.Index(codes[:], b.Code)))
	})
	v.faults = slices.Compact(v.faults)
	return nil
}

func (v *verifier) checkBlobs(ctx context.Context) error {
	for digest, index := range v.blobs {
		f, err := CheckBlob(ctx, v.st, index, digest)
		if err != nil {
			return err
		}
		if f != nil {
			v.faults = append(v.faults, *f)
		}
	}
	return nil
}

// CheckBlob looks whether the blob that an entry names is there and has the
// bytes of that SHA-256; nil if so. The error is for a machine that failed.
func CheckBlob(ctx context.Context, st Storage, index int64, digest [32]byte) (*Finding, error) {
	err := checkBlob(ctx, st, digest)
	var f Finding
	switch {
	case errors.Is(err, ErrNoBlob):
		f = finding(index, MissingBlob, "the entry names a blob that is not there: %x", digest)
	case errors.Is(err, ErrAlteredBlob):
		f = finding(index, AlteredBlob, "the entry names a blob whose bytes are others now: %x", digest)
	case err != nil:
		return nil, fmt.Errorf("blob %x: %w", digest, err)
	default:
		return nil, nil
	}
	return &f, nil
}
