package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime/debug"

	"golang.org/x/mod/sumdb/note"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
	"hvproof/store"
)

// An opening says how to open folder and log.
type opening struct {
	store.Options
	despiteLoss bool // let a log through that is shorter than this device remembers
	whole       bool // verify from the first entry, with every file that an entry names
}

func (a *app) open(ctx context.Context, opt opening) (s *session, err error) {
	root, err := a.findFolder()
	if err != nil {
		return nil, err
	}
	h, err := a.configuration()
	if err != nil {
		return nil, err
	}
	if _, err := os.Stat(filepath.Join(root, "hvproof.db")); errors.Is(err, fs.ErrNotExist) {
		return nil, errNoLog // opening for writing would make one
	}
	st, err := store.Open(root, opt.Options)
	if err != nil {
		return nil, err
	}
	s = &session{app: a, ctx: ctx, root: root, store: st, book: st, home: h, whole: opt.whole, keys: map[string]note.Signer{}}
	defer func() {
		if err != nil {
			_ = st.Close()
		}
	}()
	for _, w := range st.Warnings() {
		a.warnf("%s", w)
	}
	if err := s.chooseLog(!opt.ReadOnly); err != nil {
		return nil, err
	}
	if err := s.check(); err != nil {
		return nil, err
	}
	if !opt.ReadOnly && !opt.despiteLoss {
		if err := s.faulty(); err != nil {
			return nil, err
		}
	}
	if err := s.fold(); err != nil {
		return nil, err
	}
	s.noteFolded()
	if err := s.foldBeside(); err != nil {
		return nil, err
	}
	if !opt.ReadOnly {
		if err := s.openLog(opt.despiteLoss); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// chooseLog picks this device's log in the folder; for reading, another
// device's will do.
func (s *session) chooseLog(writing bool) error {
	origins, err := s.store.Origins(s.ctx)
	if err != nil {
		return err
	}
	if len(origins) == 0 {
		return errNoLog
	}
	device, err := s.home.DeviceID()
	if err != nil && writing {
		return err
	}
	s.origin = origins[len(origins)-1]
	mine := false
	for _, text := range origins {
		if o, err := entry.ParseOrigin(text); err == nil && o.Device == device {
			s.origin, mine = text, true
		}
	}
	o, err := entry.ParseOrigin(s.origin)
	if err != nil {
		return err
	}
	s.practice = o.Practice
	if _, err := s.app.clock(s.practice); err != nil {
		return err
	}
	if s.app.env("HVPROOF_PASSPHRASE_FILE") != "" && !s.practice {
		return diag.Bad("unset HVPROOF_PASSPHRASE_FILE: it is for practice folders only", "HVPROOF_PASSPHRASE_FILE is set, and this is not a practice folder")
	}
	if writing && !mine {
		return diag.No("write on the device where the log was begun, or let a releaser go on here: hvproof person hand-over ID --reason …",
			"the log in this folder was begun on device %s, and this is device %s: it is read-only here", o.Device, device)
	}
	return nil
}

// check verifies the log before anything is concluded from it: an answer that
// rests on an altered record would be worse than none.
func (s *session) check() error {
	remembered, err := s.home.Remembered(s.origin)
	if err != nil {
		return err
	}
	s.known, s.grown = map[string]int64{}, map[string]ledger.Verified{}
	r, err := s.verify(s.origin, ledger.VerifyOptions{Remembered: remembered, Keep: s.history == nil})
	if err != nil {
		return err
	}
	s.faults, s.kept = r.Faults, r.Kept
	return s.checkBefore()
}

// noteVerified is by how many entries a log has to grow before it is noted
// again how far it was verified; keepFrom how long it has to be before its
// entries are kept beside that, so that they need not be read as long as nothing
// is written to the log.
const (
	noteVerified = 500
	keepFrom     = 2000
)

// verify verifies a log of the folder from where this device did so last.
func (s *session) verify(origin string, opt ledger.VerifyOptions) (ledger.Report, error) {
	state := "" // as it is before anything is read
	if opt.Keep {
		state = s.state()
	}
	if !s.whole {
		opt.Verified.Size, opt.Verified.Root = s.home.Verified(origin, verifier())
		if state != "" {
			s.recall(origin, state, &opt.Verified)
		}
	}
	r, err := ledger.Verify(s.ctx, s.store, origin, opt)
	if err != nil || !r.OK() {
		return r, err
	}
	s.known[origin] = r.Known
	// The root is that of the verified checkpoint: what is read later may be other.
	if c, err := ledger.ParseCheckpoint(r.Checkpoint); err == nil && c.Size == r.Entries && r.Entries >= r.Known+noteVerified {
		s.grown[origin] = ledger.Verified{Size: c.Size, Root: c.Root}
	}
	if r.Entries >= keepFrom && opt.Verified.Kept == nil && state != "" {
		s.keep, s.keepState = r.Kept, state
	}
	return r, nil
}

// recall takes the entries from where they were kept if the log's file was in
// the same state then.
func (s *session) recall(origin, state string, v *ledger.Verified) {
	data := s.home.Kept(origin, state)
	if data == nil {
		return
	}
	kept, err := ledger.ParseKept(data)
	if err != nil || len(kept) == 0 {
		return
	}
	size := int64(len(kept))
	if root, err := ledger.Root(s.ctx, s.store, origin, size); err == nil {
		*v = ledger.Verified{Size: size, Root: root, Kept: kept}
	}
}

// state names the state of the log's file, as this program sees it; "" if that
// cannot be told from every other.
func (s *session) state() string {
	still := s.store.Still(s.app.now())
	if still == "" {
		return ""
	}
	return still + " " + verifier()
}

// noteFolded notes how far the logs of the folder were verified and folded. A
// log with a run that could not be folded is looked at whole each time.
func (s *session) noteFolded() {
	for origin, v := range s.grown {
		if !s.unfolded[origin] {
			_ = s.home.RememberVerified(origin, verifier(), v.Size, v.Root) // it only saves time
		}
	}
	// What was read belongs to a state only if it was the state all the while.
	if s.keep != nil && !s.unfolded[s.origin] && s.state() == s.keepState {
		_ = s.home.RememberKept(s.origin, s.keepState, ledger.MarshalKept(s.keep))
	}
	s.keep = nil
}

// verifier names the program that verifies as exactly as it knows itself: also
// by its file, since what is being written has no other name.
func verifier() string {
	name := "hvproof " + version
	if path, err := os.Executable(); err == nil {
		if file, err := os.Stat(path); err == nil {
			name += fmt.Sprintf(" %d %d", file.Size(), file.ModTime().UnixNano())
		}
	}
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return name
	}
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" || s.Key == "vcs.modified" {
			name += " " + s.Value
		}
	}
	return name
}

// fold reads the entries into people and runs: first those of the logs that
// this one goes on from, of which only the runs count.
func (s *session) fold() error {
	s.history = run.NewHistory(func(d [32]byte) ([]byte, error) { return s.book.Blob(s.ctx, d) })
	s.record = readiness.NewRecord()
	s.history.Beyond, s.history.Known = s.beyond, s.known
	s.known = nil // what is read a second time was not verified a second time
	s.unread, s.unfolded = nil, map[string]bool{}
	play := func(e entry.Entry, leaf [32]byte, signer string) {
		if err := s.history.Apply(e, leaf, signer); err != nil {
			s.unfolded[e.Origin] = true
			s.app.warnf("%v; hvproof verify says more", err)
			if e.Kind == entry.RunStart {
				s.unread = append(s.unread, s.about(e.Origin, ledger.Finding{Entry: e.Index, Code: ledger.MalformedEntry,
					Sentence: fmt.Sprintf("what run %s found is not known: %v", run.ID(e.Origin, e.Index), errors.Unwrap(err))}))
			}
		}
	}
	for _, l := range s.before {
		if err := ledger.Read(s.ctx, s.book, l.Origin, 0, l.Size, func(_ int64, e entry.Entry, signer string, raw []byte) error {
			s.record.Apply(e, ledger.Leaf(raw), signer)
			play(e, ledger.Leaf(raw), signer)
			return nil
		}); err != nil {
			return err
		}
	}
	size, err := s.book.Size(s.ctx, s.origin)
	if err != nil {
		return err
	}
	if s.limit > 0 {
		size = min(size, s.limit)
	}
	s.entries = size
	note := func(e entry.Entry, leaf [32]byte, signer string) error {
		if err := s.people.Apply(e, signer); err != nil {
			return fmt.Errorf("entry %d: %w; hvproof verify says more", e.Index, err)
		}
		s.record.Apply(e, leaf, signer)
		return nil
	}
	kept := s.kept[:min(int64(len(s.kept)), size)]
	s.kept = nil // the log may grow, and verifying says nothing of a second time
	noted := make(chan error, 1)
	go func() { // neither the people nor the record know of runs
		for i := range kept {
			if err := note(kept[i].Entry, kept[i].Leaf, kept[i].Signer); err != nil {
				noted <- err
				return
			}
		}
		noted <- nil
	}()
	for i := range kept {
		play(kept[i].Entry, kept[i].Leaf, kept[i].Signer)
	}
	if err := <-noted; err != nil {
		return err
	}
	return ledger.Read(s.ctx, s.book, s.origin, int64(len(kept)), size, func(_ int64, e entry.Entry, signer string, raw []byte) error {
		leaf := ledger.Leaf(raw)
		if err := note(e, leaf, signer); err != nil {
			return err
		}
		play(e, leaf, signer)
		return nil
	})
}

// foldBeside reads what other logs of the folder have that this one does not go
// on from: of another device on the same folder, or of a log that went on after
// it was handed over. Their order is not known; only what makes void counts.
func (s *session) foldBeside() error {
	s.beside = 0
	origins, err := s.book.Origins(s.ctx)
	if err != nil {
		return err
	}
	for _, origin := range origins {
		from := int64(0)
		for _, l := range s.before {
			if l.Origin == origin {
				from = l.Size
			}
		}
		size, err := s.book.Size(s.ctx, origin)
		if err != nil {
			return err
		}
		if origin == s.origin || from >= size {
			continue
		}
		s.beside++
		err = ledger.Read(s.ctx, s.book, origin, from, size, func(_ int64, e entry.Entry, signer string, raw []byte) error {
			s.record.Beside(e, ledger.Leaf(raw), signer)
			return nil
		})
		if err != nil {
			s.faults = append(s.faults, ledger.Finding{Code: ledger.MalformedEntry, Sentence: fmt.Sprintf("the log %s beside this one cannot be read: %v", origin, err)})
		}
	}
	return nil
}

func (s *session) openLog(despiteLoss bool) error {
	key, err := s.home.LogKey(s.origin)
	if err != nil {
		return err
	}
	signer, err := ledger.NewSigner(s.origin, key)
	if err != nil {
		return err
	}
	clock, err := s.app.clock(s.practice)
	if err != nil {
		return err
	}
	if s.log, err = ledger.Open(s.ctx, s.store, s.origin, signer, clock); err != nil {
		return err
	}
	remembered, err := s.home.Remembered(s.origin)
	if err != nil || remembered == nil {
		return err
	}
	if err := s.log.Remembered(s.ctx, remembered); err != nil && !despiteLoss {
		return diag.No(lossHint, "%v", err)
	}
	return nil
}

// lossHint says how to go on with a log that lost its end.
const lossHint = "find the missing entries, or let a releaser sign for the loss: hvproof person loss --reason …"

// errNoLog says that the folder has no log yet.
var errNoLog = diag.Bad("begin one with: hvproof person add ID", "this car folder has no log yet")
