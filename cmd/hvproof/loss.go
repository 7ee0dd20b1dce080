package main

import (
	"context"
	"strconv"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/ledger"
	"hvproof/internal/people"
	"hvproof/store"
)

// personLoss lets a releaser sign that entries of the log were lost.
func (a *app) personLoss(ctx context.Context, by, reason string) error {
	if strings.TrimSpace(reason) == "" {
		return diag.Bad("say what happened with --reason", "a loss is not signed for without a reason")
	}
	s, err := a.open(ctx, opening{Options: store.Options{Holder: a.holder()}, despiteLoss: true})
	if err != nil {
		return err
	}
	defer s.close()
	raw, err := s.home.Remembered(s.origin)
	if err != nil {
		return err
	}
	if raw == nil || s.log.Remembered(ctx, raw) == nil {
		return diag.No("", "nothing is lost: the log has all that this device remembers")
	}
	lost, err := ledger.ParseCheckpoint(raw)
	if err != nil {
		return diag.Machine("", "the remembered checkpoint: %v", err)
	}
	if by == "" {
		if releasers := s.names(people.Releaser); len(releasers) == 1 {
			by = releasers[0]
		} else {
			return diag.Bad("say which with --by: "+strings.Join(releasers, ", "), "a releaser signs for a loss")
		}
	}
	if err := s.unlock(by, a.passphrase); err != nil {
		return err
	}
	b := entry.Body{Kind: entry.Loss}
	b.Add("log-size", strconv.FormatInt(lost.Size, 10))
	b.Add("log-root", entry.FormatHash(lost.Root))
	b.Add("reason", reason)
	e, _, err := s.log.Append(ctx, b, s.keys[by])
	if err != nil {
		return logError(err)
	}
	if err := s.home.RememberLoss(s.origin, s.log.Checkpoint()); err != nil {
		return err
	}
	a.sayf("recorded %s %d: it stays visible in every report", e.Kind, e.Index)
	return nil
}
