package main

import (
	"context"
	"crypto/rand"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/mod/sumdb/note"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/home"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/internal/readiness"
	"hvproof/internal/rework"
	"hvproof/internal/run"
	"hvproof/store"
)

// A session is one car folder with its log, open for reading or for writing.
type session struct {
	app       *app
	ctx       context.Context
	root      string // the car folder
	store     *store.Store
	book      ledger.Storage // where entries are read: the store, or a bundle
	made      time.Time      // the time that counts as now; zero: by the clock
	limit     int64          // only so many entries are looked at; 0: all
	whole     bool           // verified from the first entry, not from where it was last time
	home      *home.Home
	origin    string
	practice  bool
	history   *run.History
	record    *readiness.Record
	people    people.Register
	entries   int64
	before    []ledger.Predecessor       // the logs that this one goes on from, oldest first
	absent    ledger.Predecessor         // the log before that is not in the folder, if so
	beside    int                        // logs of the folder that this one does not go on from
	kept      []ledger.Kept              // the entries as verified, until they are folded
	known     map[string]int64           // of each log, how many entries were verified and folded before
	grown     map[string]ledger.Verified // of each log that has grown much since: what was verified now
	keep      []ledger.Kept              // what is worth keeping of this log
	keepState string                     // of its file, before it was read
	unfolded  map[string]bool            // logs with a run that could not be folded
	faults    []ledger.Finding           // of the log; what rests on it counts only without any
	unread    []ledger.Finding           // runs that could not be read: what they would fail is not known
	lost      []ledger.Finding           // files that a proof rests on, when proofs was last asked
	held      map[[32]byte]bool          // captures whose bytes bear out what was decided on them
	heldOrder [][32]byte                 // the same in the order in which they were held against them
	folder    *carfolder.Folder          // as last loaded
	stamp     string                     // of its files then
	log       *ledger.Log                // nil when open for reading
	keys      map[string]note.Signer     // unlocked
	cooled    string                     // the attempt before which a resistor was let cool, as was said
}

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
	return a.open(ctx, opening{Options: store.Options{ReadOnly: true}})
}

// write opens the log of the car folder for appending.
func (a *app) write(ctx context.Context) (*session, error) {
	return a.open(ctx, opening{Options: store.Options{Holder: a.holder()}})
}

// holder says who writes, for the second who tries.
func (a *app) holder() store.Holder {
	host, err := os.Hostname()
	if err != nil {
		host = "this machine"
	}
	return store.Holder{PID: os.Getpid(), Host: host, Since: a.now()}
}

// facts gives what readiness is a function of.
// Without the car's files nothing follows from events; nothing is judged then.
func (s *session) facts() readiness.Log {
	l := readiness.Log{Runs: s.history, Record: s.record}
	if f := s.folder; f != nil {
		l.Shop = &readiness.Shop{Parts: f.Vehicle.Parts(), Effects: func(work string, parts []string) []rework.Effect {
			return f.Rework.Effects(f.Vehicle, work, parts, f.ProofParts(s.practice))
		}}
	}
	return l
}

// close closes the store; an error of closing is said, the answers are
// durable already.
func (s *session) close() {
	if err := s.store.Close(); err != nil {
		s.app.warnf("closing the log: %v", err)
	}
}
