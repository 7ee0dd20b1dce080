package ledger

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"sync"
	"time"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"

	"hvproof/internal/entry"
	"hvproof/internal/people"
)

// A Clock tells a log what it adds to entries of time and place.
type Clock struct {
	Now     func() time.Time // any location; recorded in UTC beside its own offset
	Uptime  func() float64   // seconds since the program started
	Boot    string           // identity of this start of the machine
	Version string           // version of the program
}

// ErrLost is what Append returns, wrapped, while the log is shorter or other
// than the remembered checkpoint says and no releaser has signed for the loss.
var ErrLost = errors.New("the log is read-only until a releaser signs for the loss")

// ErrRefused is what Append returns, wrapped, for an entry that [Verify] would
// call a fault. Nothing was signed or stored.
var ErrRefused = errors.New("entry refused")

// A Log appends to one log. It may be used from several goroutines.
type Log struct {
	st     Storage
	origin string
	key    note.Signer
	clock  Clock

	mu         sync.Mutex
	fold       *fold
	tree       frontier
	checkpoint []byte
	lost       *head // what the remembered checkpoint says, if it leads
}

const advice = "nothing can be appended; `hvproof verify` says what is wrong"

// retries is how often Append signs again when somebody else appended first.
const retries = 16

// Open opens a log for appending; a log without entries begins with a start.
// It reads all entries to know who may sign what, and verifies the signatures
// of those that say so, and that tree and checkpoint agree: the rest is for
// [Verify]. logKey is named after the
// origin and must be the key that entry 0 declares.
func Open(ctx context.Context, st Storage, origin string, logKey note.Signer, clock Clock) (*Log, error) {
	o, err := entry.ParseOrigin(origin)
	if err != nil {
		return nil, err
	}
	if logKey.Name() != origin {
		return nil, fmt.Errorf("the log's key is named %s, the log %s", logKey.Name(), origin)
	}
	l := &Log{st: st, origin: origin, key: logKey, clock: clock, fold: newFold(o)}
	if err := l.catchUp(ctx); err != nil {
		return nil, fmt.Errorf("opening log %s: %w", origin, err)
	}
	return l, nil
}

// catchUp reads the entries that l does not know yet.
func (l *Log) catchUp(ctx context.Context) error {
	size, checkpoint, err := snapshot(ctx, l.st, l.origin)
	if err != nil {
		return err
	}
	if size < l.tree.size {
		return fmt.Errorf("the log has %d entries and had %d when it was opened: %w", size, l.tree.size, ErrLost)
	}
	if size == l.tree.size {
		return nil
	}
	next, tree := l.fold.clone(), l.tree.clone()
	err = read(ctx, l.st, l.origin, tree.size, size, func(e entry.Entry, n Note, raw []byte) error {
		if moves(e.Kind) {
			key, err := next.register.Check(e, n.Signer, n.KeyHash)
			if err == nil && !n.Verify(key) {
				err = errors.New("the signature is not good")
			}
			if err == nil {
				err = next.apply(e, n.Signer)
			}
			if err != nil {
				return fmt.Errorf("entry %d, of kind %s: %w: %s", e.Index, e.Kind, err, advice)
			}
		}
		next.note(e.Index, n.Signer)
		tree.add(Leaf(raw), nil)
		return nil
	})
	if err != nil {
		return err
	}
	if err := l.agree(ctx, tree, &next.register, checkpoint); err != nil {
		return err
	}
	l.fold, l.tree, l.checkpoint = next, *tree, checkpoint
	return nil
}

// agree holds the entries against the stored hashes that the next append will
// build on, and against the checkpoint.
func (l *Log) agree(ctx context.Context, tree *frontier, register *people.Register, checkpoint []byte) error {
	stored, err := l.st.ReadHashes(ctx, l.origin, edge(tree.size))
	if err != nil {
		return err
	}
	root := tree.root()
	if (&frontier{tree.size, stored}).root() != root {
		return fmt.Errorf("the entries do not match their stored tree hashes: %s", advice)
	}
	c, err := ParseCheckpoint(checkpoint)
	if err != nil {
		return fmt.Errorf("checkpoint: %w: %s", err, advice)
	}
	name, key := register.LogKey()
	if name != l.key.Name() || people.KeyHash(name, key) != l.key.KeyHash() {
		return fmt.Errorf("the log's key here is not the one that entry 0 declares: %s", advice)
	}
	if c.Origin != l.origin || c.Size != tree.size || c.Root != root || !c.Verify(key) {
		return fmt.Errorf("the checkpoint does not belong to the entries: %s", advice)
	}
	return nil
}

// Size is the number of entries that the log knows of.
func (l *Log) Size() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.tree.size
}

// Origin is the log's origin.
func (l *Log) Origin() string { return l.origin }

// Checkpoint returns the newest checkpoint, to be remembered elsewhere; nil
// for a log without entries.
func (l *Log) Checkpoint() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.checkpoint
}

// People returns a copy of the register after the newest entry.
func (l *Log) People() *people.Register {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.fold.register.Clone()
}

// Remembered compares the log with a checkpoint that was remembered outside
// the car folder. If that leads, or names another root, the error wraps
// [ErrLost], and Append takes nothing but a loss entry that names the
// remembered size and root.
func (l *Log) Remembered(ctx context.Context, checkpoint []byte) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	c, err := ParseCheckpoint(checkpoint)
	if err != nil {
		return fmt.Errorf("remembered checkpoint: %w", err)
	}
	if c.Origin != l.origin {
		return fmt.Errorf("the remembered checkpoint is of %s, not of %s", c.Origin, l.origin)
	}
	h := head{c.Size, c.Root}
	if l.fold.losses[h] {
		l.lost = nil
		return nil
	}
	if c.Size <= l.tree.size {
		root, err := tlog.TreeHash(c.Size, hashReader(ctx, l.st, l.origin))
		if err != nil {
			return err
		}
		if root == c.Root {
			l.lost = nil
			return nil
		}
	}
	l.lost = &h
	return l.lostError()
}

func (l *Log) lostError() error {
	if l.lost.size > l.tree.size {
		return fmt.Errorf("this log has %d entries, but had %d: %w", l.tree.size, l.lost.size, ErrLost)
	}
	return fmt.Errorf("the first %d entries of this log are not those that were there before: %w", l.lost.size, ErrLost)
}

// Append adds the header, signs, and stores entry, tree hashes and checkpoint
// in one durable step; it returns the entry and its leaf hash. If another
// writer was first it reads what is new and signs again, so nobody is asked
// anything twice. An entry that [Verify] would fault is refused: [ErrRefused].
func (l *Log) Append(ctx context.Context, body entry.Body, signer note.Signer) (entry.Entry, [32]byte, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for range retries {
		if err := l.catchUp(ctx); err != nil {
			return entry.Entry{}, [32]byte{}, err
		}
		e, leaf, err := l.appendOnce(ctx, body, signer)
		if !errors.Is(err, ErrMoved) {
			return e, leaf, err
		}
	}
	return entry.Entry{}, [32]byte{}, fmt.Errorf("appending to %s: others were first %d times: %w", l.origin, retries, ErrMoved)
}

func (l *Log) appendOnce(ctx context.Context, body entry.Body, signer note.Signer) (entry.Entry, tlog.Hash, error) {
	none := func(err error) (entry.Entry, tlog.Hash, error) { return entry.Entry{}, tlog.Hash{}, err }
	now := l.clock.Now() // after the entries before were read: time does not run backwards
	e := entry.Entry{Header: entry.Header{
		Origin: l.origin, Index: l.tree.size, Root: l.tree.root(),
		Time: now.UTC(), Zone: now.Format("-07:00"), Uptime: l.clock.Uptime(),
		Boot: l.clock.Boot, Version: l.clock.Version,
	}, Body: body}
	text, err := entry.Marshal(e)
	if err != nil {
		return none(fmt.Errorf("%w: %w", ErrRefused, err))
	}
	if e, err = entry.Parse(text); err != nil { // what is returned is what was signed
		return none(fmt.Errorf("%w: %w", ErrRefused, err))
	}
	key, err := l.allowed(ctx, e, signer)
	if err != nil {
		return none(err)
	}
	raw, err := note.Sign(&note.Note{Text: string(text)}, signer)
	if err != nil {
		return none(fmt.Errorf("signing: %w", err))
	}
	// An append cannot be taken back: look before.
	if n, err := OpenNote(raw); err != nil || !n.Verify(key) {
		return none(fmt.Errorf("%w: %s signs with another key than the log knows", ErrRefused, signer.Name()))
	}
	next := l.fold.clone()
	if err := next.apply(e, signer.Name()); err != nil {
		return none(fmt.Errorf("%w: %w", ErrRefused, err))
	}
	next.note(e.Index, signer.Name())
	tree := l.tree.clone()
	leaf := Leaf(raw)
	hashes := tree.add(leaf, nil)
	checkpoint, err := l.signCheckpoint(tree, &next.register)
	if err != nil {
		return none(err)
	}
	if err := l.st.Append(ctx, l.origin, l.tree.size, [][]byte{raw}, hashes, checkpoint); err != nil {
		return none(fmt.Errorf("appending entry %d: %w", e.Index, err))
	}
	l.fold, l.tree, l.checkpoint, l.lost = next, *tree, checkpoint, nil
	return e, leaf, nil
}

// allowed asks everything of a new entry that Verify will ask.
func (l *Log) allowed(ctx context.Context, e entry.Entry, signer note.Signer) (ed25519.PublicKey, error) {
	if l.lost != nil && !names(e, *l.lost) {
		return nil, l.lostError()
	}
	isLeaf := func(index int64, leaf tlog.Hash) (bool, error) {
		stored, err := l.st.ReadHashes(ctx, l.origin, []int64{tlog.StoredHashIndex(0, index)})
		return err == nil && stored[0] == leaf, err
	}
	key, faults, err := l.fold.judge(e, Note{Signer: signer.Name(), KeyHash: signer.KeyHash()}, isLeaf)
	if err != nil {
		return nil, err
	}
	if len(faults) > 0 {
		return nil, fmt.Errorf("%w: %s", ErrRefused, faults[0].Sentence)
	}
	for _, digest := range e.Blobs() {
		if _, err := l.st.Blob(ctx, digest); err != nil {
			return nil, fmt.Errorf("%w: blob %x: %w", ErrRefused, digest, err)
		}
	}
	return key, nil
}

// names reports whether e is the loss entry for h.
func names(e entry.Entry, h head) bool {
	return e.Kind == entry.Loss && e.Text("log-size") == fmt.Sprint(h.size) && e.Text("log-root") == h.root.String()
}

func (l *Log) signCheckpoint(tree *frontier, register *people.Register) ([]byte, error) {
	raw, err := SignCheckpoint(l.origin, tree.size, tree.root(), l.key)
	if err != nil {
		return nil, fmt.Errorf("signing the checkpoint: %w", err)
	}
	c, err := ParseCheckpoint(raw)
	if err != nil {
		return nil, fmt.Errorf("signing the checkpoint: %w", err)
	}
	if _, key := register.LogKey(); !c.Verify(key) {
		return nil, fmt.Errorf("%w: the log's key is not the one that entry 0 declares", ErrRefused)
	}
	return raw, nil
}
