package main

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
)

// maxLinks is how many logs may follow each other.
const maxLinks = 100

// predecessors gives the logs that a log goes on from and that are in this
// folder, oldest first, and notes the first of them that is not.
func (s *session) predecessors(origin string) ([]ledger.Predecessor, error) {
	var out []ledger.Predecessor
	s.absent = ledger.Predecessor{}
	for len(out) < maxLinks {
		var p ledger.Predecessor
		var ok bool
		err := ledger.Read(s.ctx, s.book, origin, 0, 1, func(_ int64, e entry.Entry, _ string, _ []byte) error {
			p, ok = ledger.PredecessorOf(e)
			return nil
		})
		if err != nil || !ok {
			return out, err
		}
		if slices.ContainsFunc(out, func(o ledger.Predecessor) bool { return o.Origin == p.Origin }) || p.Origin == s.origin {
			return out, nil
		}
		if n, err := s.book.Size(s.ctx, p.Origin); err != nil || n == 0 {
			s.absent = p
			return out, err
		}
		out = slices.Insert(out, 0, p)
		origin = p.Origin
	}
	return out, nil
}

// checkBefore verifies the logs that this one goes on from, up to where they
// were handed over.
func (s *session) checkBefore() error {
	var err error
	if s.before, err = s.predecessors(s.origin); err != nil {
		return err
	}
	for _, p := range s.before {
		r, err := s.verify(p.Origin, ledger.VerifyOptions{})
		if err != nil {
			return err
		}
		for _, f := range r.Faults {
			s.faults = append(s.faults, s.about(p.Origin, f))
		}
		wrong, err := p.Check(s.ctx, s.book)
		if err != nil {
			return err
		}
		s.faults = append(s.faults, wrong...)
	}
	return nil
}

// handOver begins a new log on this device that goes on from the folder's.
func (a *app) handOver(ctx context.Context, id, reason string) error {
	if strings.TrimSpace(reason) == "" {
		return diag.Bad("say why with --reason", "a log is not handed over without a reason")
	}
	old, first, err := a.readyToHandOver(ctx, id)
	if err != nil {
		return err
	}
	dir, err := a.findFolder()
	if err != nil {
		return err
	}
	o, err := entry.ParseOrigin(old.Origin)
	if err != nil {
		return err
	}
	if err := a.createLog(ctx, dir, first, o.Practice, &old); err != nil {
		return err
	}
	s, err := a.write(ctx)
	if err != nil {
		return err
	}
	defer s.close()
	now, err := entry.ParseOrigin(s.origin)
	if err != nil {
		return err
	}
	b := entry.Body{Kind: entry.HandOver}
	b.Add("from", old.Origin)
	b.Add("log-size", strconv.FormatInt(old.Size, 10))
	b.Add("log-root", entry.FormatHash(old.Root))
	b.Add("device", now.Device)
	b.Add("reason", reason)
	if err := s.unlock(id, a.passphrase); err != nil {
		return err
	}
	e, err := s.commit(b, id)
	if err != nil {
		return err
	}
	a.sayf("recorded %s %d: introduce the other people again with hvproof person add", e.Kind, e.Index)
	return nil
}

// readyToHandOver looks at the folder's log and the releaser's key, and gives
// what the new log names.
func (a *app) readyToHandOver(ctx context.Context, id string) (ledger.Predecessor, person, error) {
	s, err := a.readWhole(ctx)
	if err != nil {
		return ledger.Predecessor{}, person{}, err
	}
	defer s.close()
	if device, err := s.home.DeviceID(); err == nil && strings.Contains(s.origin, "/"+device+"/") {
		return ledger.Predecessor{}, person{}, diag.Bad("just go on", "the log in this folder is of this device")
	}
	if err := s.faulty(); err != nil {
		return ledger.Predecessor{}, person{}, err
	}
	p, ok := s.people.Current(id)
	if !ok || !slices.Contains(p.Roles, people.Releaser) {
		return ledger.Predecessor{}, person{}, diag.Bad("releasers of this log: "+strings.Join(s.names(people.Releaser), ", "), "%s is not a releaser of the log", id)
	}
	key, err := s.personKey(id, a.passphrase)
	if err != nil {
		return ledger.Predecessor{}, person{}, err
	}
	if !bytes.Equal(key.Public().(ed25519.PublicKey), p.Key) {
		return ledger.Predecessor{}, person{}, diag.No("bring the key file of that person to this device", "the key of %s here is not the one in the log", id)
	}
	root, err := ledger.Root(ctx, s.store, s.origin, s.entries)
	if err != nil {
		return ledger.Predecessor{}, person{}, err
	}
	return ledger.Predecessor{Origin: s.origin, Size: s.entries, Root: root}, person{id, p.Roles, key}, nil
}
