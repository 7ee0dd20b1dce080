package main

import (
	"context"
	"os"
	"runtime"
	"strings"
	"time"

	"hvproof/internal/diag"
	"hvproof/internal/ledger"
)

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

// bootIdentity tells one start of the machine from another where the
// platform does.
func bootIdentity() string {
	if id, err := os.ReadFile("/proc/sys/kernel/random/boot_id"); err == nil {
		return strings.TrimSpace(string(id))
	}
	return "unknown-" + runtime.GOOS
}
