package readiness

import (
	"fmt"
	"slices"
	"time"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// An OpenItem is something provisional at the car: a joint nipped up without
// torque and mark, a cover off, a temporary link, a borrowed part, a seal.
type OpenItem struct {
	Ref
	Kind   string // the sort of thing: "joint", "cover", …; "step" where a failed step opened it
	Text   string
	Parts  []string
	Blocks bool // power may not come on while it is open
	Opened time.Time
	By     string
	Before string // the log's short name, where it is another one than the newest
	seq    int64
}

// Joint is the kind of an item that torque and mark close.
const Joint = "joint"

// stepItem is the kind of an item that a failed step has opened, sealItem that
// of a seal that work has opened.
const (
	stepItem = "step"
	sealItem = "seal"
)

var itemKinds = []string{Joint, "cover", "temporary link", "borrowed part", "seal", "tool", "other"}

// ItemKinds gives the sorts of things that are opened by hand.
func ItemKinds() []string { return slices.Clone(itemKinds) }

// ID names an item in commands.
func (i *OpenItem) ID() string { return named("i", i.Index, i.Before) }

// named gives an entry's name in commands, with its log where that is not the
// newest one.
func named(letter string, index int64, log string) string {
	if log != "" {
		log = "@" + log
	}
	return fmt.Sprintf("%s%d%s", letter, index, log)
}

// otherLog gives the short name of the log of an entry, empty for the newest.
func (r *Record) otherLog(of Ref) string {
	if of.Origin == r.origin {
		return ""
	}
	return run.ShortOrigin(of.Origin)
}

// OpenItems gives everything that is open, oldest first: what was opened by
// hand and not closed, and every step left failed whose procedure lets the run
// go on (if_failed: note) and that has not passed since. A joint closes by
// itself once a later run of a procedure that proves joints has its torque and
// mark. A seal that work has opened is there until the car was presented again;
// it does not keep power off.
func OpenItems(l Log) []*OpenItem {
	led := &l.Record.ledger
	var out []*OpenItem
	steps := map[string]*OpenItem{}
	var order []string
	for _, m := range l.Runs.Runs() {
		if m.Start().Rehearsal || m.Outcome() == run.Passed && len(steps) == 0 {
			continue // nothing of it is left failed, and there is nothing that it could close
		}
		for s := range m.Answered() {
			key := m.Plan().Procedure + " " + s.Step.Path
			switch a := s.Last(); {
			case accepted(s):
				delete(steps, key)
			case s.Failed && s.Step.IfFailed == plan.Note:
				start, _ := l.Record.Begin(m.ID())
				if !slices.Contains(order, key) {
					order = append(order, key)
				}
				steps[key] = &OpenItem{Ref: Ref{start.Origin, a.Index, a.Leaf}, Kind: stepItem, Parts: s.Step.Parts, Blocks: true,
					Text: fmt.Sprintf("%s, %s: %s", m.Plan().Procedure, s.Step.Path, a.Said(s.Step)), Opened: a.Time, By: a.Signer}
			}
		}
	}
	for _, i := range led.items {
		if _, done := led.closed[i.Leaf]; !done && !(i.Kind == Joint && jointDone(l, i)) {
			out = append(out, i)
		}
	}
	for _, w := range l.Record.works {
		if _, done := led.closed[w.Leaf]; w.Seal != "" && !done {
			out = append(out, &OpenItem{Ref: w.Ref, Kind: sealItem, Parts: w.Parts, Opened: w.Time, By: w.Signer, Text: "seal opened, present again: " + w.Seal})
		}
	}
	for _, key := range order {
		if i := steps[key]; i != nil {
			if _, done := led.closed[i.Leaf]; !done {
				out = append(out, i)
			}
		}
	}
	for _, i := range out {
		i.Before = l.Record.otherLog(i.Ref)
	}
	return out
}

// jointDone reports whether every part of a joint's item was torqued and
// marked in a passed run that began after it was opened.
func jointDone(l Log, i *OpenItem) bool {
	for _, part := range i.Parts {
		done := slices.ContainsFunc(l.Runs.Runs(), func(m *run.Machine) bool {
			if m.Start().Rehearsal || m.Broken() != nil || l.Record.began[m.ID()] < i.seq || !proves(m.Plan(), "joints") {
				return false
			}
			torque := false
			for _, s := range m.Steps() {
				if !slices.Contains(s.Step.Parts, part) {
					continue
				}
				if !accepted(&s) {
					return false
				}
				torque = torque || s.Step.Kind == plan.Measure
			}
			return torque
		})
		if !done {
			return false
		}
	}
	return len(i.Parts) > 0
}

func proves(p *plan.Plan, proof string) bool {
	return slices.ContainsFunc(p.Proves, func(pr plan.Proof) bool { return pr.ID == proof })
}
