package main

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/mod/sumdb/note"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
	"hvproof/internal/run"
	"hvproof/store"
)

// A session is one car folder with its log, open for reading or for writing.
type session struct {
	app      *app
	ctx      context.Context
	root     string // the car folder
	store    *store.Store
	book     ledger.Storage // where entries are read: the store, or a bundle
	made     time.Time      // the time that counts as now; zero: by the clock
	limit    int64          // only so many entries are looked at; 0: all
	home     *home.Home
	origin   string
	practice bool
	history  *run.History
	record   *readiness.Record
	people   people.Register
	entries  int64
	before   []ledger.Predecessor   // the logs that this one goes on from, oldest first
	carried  map[[32]byte]bool      // files that runs of this log carry already
	faults   []ledger.Finding       // of the log; what rests on it counts only without any
	folder   *carfolder.Folder      // as last loaded
	stamp    string                 // of its files then
	log      *ledger.Log            // nil when open for reading
	keys     map[string]note.Signer // unlocked
}

// practiceKeys is the folder inside a practice car folder that keeps its
// people's keys.
const practiceKeys = "practice-keys"

// configuration opens the configuration folder of this user.
func (a *app) configuration() (*home.Home, error) {
	dir := a.env("HVPROOF_CONFIG")
	if dir == "" {
		base, err := os.UserConfigDir()
		if err != nil {
			return nil, diag.Machine("set HVPROOF_CONFIG to a folder", "no configuration folder: %v", err)
		}
		dir = filepath.Join(base, "hvproof")
	}
	return home.Open(dir, rand.Reader)
}

// findFolder gives the car folder: that of -C, or found upwards from here.
func (a *app) findFolder() (string, error) {
	if a.dir != "" {
		return carfolder.At(a.dir)
	}
	here, err := os.Getwd()
	if err != nil {
		return "", diag.Machine("", "%v", err)
	}
	return carfolder.Find(here)
}

// read opens the log of the car folder for reading; a folder without a log
// gives errNoLog.
func (a *app) read(ctx context.Context) (*session, error) {
	return a.open(ctx, store.Options{ReadOnly: true}, false)
}

// write opens the log of the car folder for appending.
func (a *app) write(ctx context.Context) (*session, error) {
	return a.open(ctx, store.Options{Holder: a.holder()}, false)
}

// holder says who writes, for the second who tries.
func (a *app) holder() store.Holder {
	host, err := os.Hostname()
	if err != nil {
		host = "this machine"
	}
	return store.Holder{PID: os.Getpid(), Host: host, Since: a.now()}
}

// errNoLog says that the folder has no log yet.
var errNoLog = diag.Bad("begin one with: hvproof person add ID", "this car folder has no log yet")

// lossHint says how to go on with a log that lost its end.
const lossHint = "find the missing entries, or let a releaser sign for the loss: hvproof person loss --reason …"

// open opens folder and log; despiteLoss lets a log through that is shorter
// than this device remembers.
func (a *app) open(ctx context.Context, opt store.Options, despiteLoss bool) (s *session, err error) {
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
	st, err := store.Open(root, opt)
	if err != nil {
		return nil, err
	}
	s = &session{app: a, ctx: ctx, root: root, store: st, book: st, home: h, keys: map[string]note.Signer{}}
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
	if len(s.faults) > 0 && !opt.ReadOnly && !despiteLoss {
		hint := "hvproof verify says more; nothing is appended to a log with faults"
		if s.faults[0].Code == ledger.RolledBack {
			hint = lossHint
		}
		return nil, diag.No(hint, "the log does not verify: entry %d: %s", s.faults[0].Entry, s.faults[0].Sentence)
	}
	if err := s.fold(); err != nil {
		return nil, err
	}
	if !opt.ReadOnly {
		if err := s.openLog(despiteLoss); err != nil {
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
	r, err := ledger.Verify(s.ctx, s.store, s.origin, ledger.VerifyOptions{Remembered: remembered})
	if err != nil {
		return err
	}
	s.faults = r.Faults
	return s.checkBefore()
}

// fold reads the entries into people and runs: first those of the logs that
// this one goes on from, of which only the runs count.
func (s *session) fold() error {
	s.history = run.NewHistory(func(d [32]byte) ([]byte, error) { return s.book.Blob(s.ctx, d) })
	s.record, s.carried = readiness.NewRecord(), map[[32]byte]bool{}
	apply := func(e entry.Entry, signer string, raw []byte) {
		s.record.Apply(e, ledger.Leaf(raw), signer)
		if err := s.history.Apply(e, ledger.Leaf(raw), signer); err != nil {
			s.app.warnf("%v; hvproof verify says more", err)
		}
	}
	for _, l := range s.before {
		if err := ledger.Read(s.ctx, s.book, l.Origin, 0, l.Size, func(_ int64, e entry.Entry, signer string, raw []byte) error {
			apply(e, signer, raw)
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
	return ledger.Read(s.ctx, s.book, s.origin, 0, size, func(index int64, e entry.Entry, signer string, raw []byte) error {
		if err := s.people.Apply(e, signer); err != nil {
			return fmt.Errorf("entry %d: %w; hvproof verify says more", index, err)
		}
		apply(e, signer, raw)
		s.carry(e)
		return nil
	})
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

// clock gives what the log adds to entries of time and place. HVPROOF_NOW
// starts it at another moment, in practice folders only; the version that is
// recorded says so.
func (a *app) clock(practice bool) (ledger.Clock, error) {
	now, name := a.now, version
	if text := a.env("HVPROOF_NOW"); text != "" {
		if !practice {
			return ledger.Clock{}, diag.Bad("unset HVPROOF_NOW: it is for practice folders only", "HVPROOF_NOW is set, and this is not a practice folder")
		}
		start, err := time.Parse(time.RFC3339, text)
		if err != nil {
			return ledger.Clock{}, diag.Bad("write it as 2027-03-20T09:00:00Z", "HVPROOF_NOW: %q is not a time", text)
		}
		now, name = func() time.Time { return start.Add(a.now().Sub(a.started)) }, version+" set-clock"
	}
	return ledger.Clock{Now: now, Uptime: func() float64 { return a.now().Sub(a.started).Seconds() }, Boot: bootIdentity(), Version: "hvproof " + name}, nil
}

// time gives the time for commands that need no log: HVPROOF_NOW counts only
// where the folder's log says practice.
func (a *app) time(ctx context.Context) (time.Time, error) {
	practice := false
	if a.env("HVPROOF_NOW") != "" {
		s, err := a.read(ctx)
		switch {
		case err == nil:
			practice = s.practice
			s.close()
		case err != errNoLog:
			return time.Time{}, err
		}
	}
	clock, err := a.clock(practice)
	if err != nil {
		return time.Time{}, err
	}
	return clock.Now(), nil
}

// bootIdentity tells one start of the machine from another where the
// platform does.
func bootIdentity() string {
	if id, err := os.ReadFile("/proc/sys/kernel/random/boot_id"); err == nil {
		return strings.TrimSpace(string(id))
	}
	return "unknown-" + runtime.GOOS
}

// commit signs a proposed entry with a person's key, stores it durably,
// remembers the checkpoint and folds it.
func (s *session) commit(body entry.Body, person string) (entry.Entry, error) {
	key, ok := s.keys[person]
	if !ok {
		return entry.Entry{}, diag.No("", "%s has not unlocked a key", person)
	}
	e, leaf, err := s.log.Append(s.ctx, body, key)
	if err != nil {
		return entry.Entry{}, logError(err)
	}
	if err := s.home.Remember(s.origin, s.log.Checkpoint()); err != nil {
		return entry.Entry{}, err
	}
	s.entries = e.Index + 1
	if err := s.people.Apply(e, person); err != nil {
		return entry.Entry{}, err
	}
	s.record.Apply(e, leaf, person)
	s.carry(e)
	return e, s.history.Apply(e, leaf, person)
}

// facts gives what readiness is a function of.
func (s *session) facts() readiness.Log { return readiness.Log{Runs: s.history, Record: s.record} }

// logError gives an error of appending its class.
func logError(err error) error {
	switch {
	case errors.Is(err, ledger.ErrRefused), errors.Is(err, ledger.ErrLost):
		return &diag.Error{Class: diag.ClassNo, Message: err.Error(), Err: err}
	}
	return err
}

// unlock makes a person's key ready to sign. ask is told how to get the
// passphrase; in a practice folder none is needed.
func (s *session) unlock(person string, ask func(person string) ([]byte, error)) error {
	if _, ok := s.keys[person]; ok {
		return nil
	}
	if _, ok := s.people.Current(person); !ok {
		return diag.Bad("people with keys in this log: "+strings.Join(s.names(""), ", "), "%s has no key in this log", person)
	}
	key, err := s.personKey(person, ask)
	if err != nil {
		return err
	}
	signer, err := ledger.NewSigner(person, key)
	if err != nil {
		return err
	}
	s.keys[person] = signer
	return nil
}

func (s *session) personKey(person string, ask func(person string) ([]byte, error)) (ed25519.PrivateKey, error) {
	if s.practice {
		return home.OpenPractice(filepath.Join(s.root, practiceKeys), rand.Reader).PersonKey(person)
	}
	passphrase, err := ask(person)
	if err != nil {
		return nil, err
	}
	defer clear(passphrase)
	return s.home.PersonKey(person, passphrase)
}

// lock forgets a person's key.
func (s *session) lock(person string) { delete(s.keys, person) }

// names gives the people who may sign now, those with the role where one is
// named.
func (s *session) names(role people.Role) []string {
	var out []string
	for _, p := range s.people.Persons() {
		now, ok := s.people.Current(p.ID)
		if ok && !slices.Contains(out, p.ID) && (role == "" || slices.Contains(now.Roles, role)) {
			out = append(out, p.ID)
		}
	}
	return out
}

// now gives the time as the log's entries have it.
func (s *session) now() time.Time {
	if !s.made.IsZero() {
		return s.made
	}
	clock, err := s.app.clock(s.practice)
	if err != nil {
		return s.app.now()
	}
	return clock.Now()
}

// close closes the store; an error of closing is said, the answers are
// durable already.
func (s *session) close() {
	if err := s.store.Close(); err != nil {
		s.app.warnf("closing the log: %v", err)
	}
}
