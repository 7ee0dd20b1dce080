package readiness

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/rework"
	"hvproof/internal/run"
)

// A Shop is what today's files say about events.
type Shop struct {
	Parts   []string                                          // of the car
	Effects func(work string, parts []string) []rework.Effect // of a kind of work or event in rework.yaml
}

// The events that follow from what a live run recorded, by their names in
// rework.yaml. Nobody opened anything, and yet parts were touched.
const (
	prechargeFailed = "precharge_failed"
	closingHigh     = "closing_step_high"
	openedUnderLoad = "opened_under_load"
	contactStuck    = "contact_stuck"
	stoppedLive     = "stopped_live"
)

// eventOf gives the event that an incident is, and the contactors that it is
// about; no event where no contact was touched. Only a fail counts: of a scope
// that saw nothing nothing follows.
func eventOf(m *run.Machine, i run.Incident, car []string) (kind string, parts []string) {
	contactors := func(parts []string) []string {
		return slices.DeleteFunc(slices.Clone(parts), func(p string) bool { return !strings.HasPrefix(p, "contactors.") })
	}
	parts = contactors(i.Parts)
	fails := i.Decision == run.Fail || i.Decision == run.ConditionalFail
	switch i.Kind {
	case run.FailedAttempt:
		s, ok := m.Plan().Step(i.Path)
		if ok && fails && len(parts) > 0 && m.Plan().Steps[s].Function == "precharge" {
			return prechargeFailed, parts
		}
		return "", nil
	case "closed-early", "already-live", "contactor-bounce", "never-precharged":
		kind = closingHigh
	case "opened-under-load":
		kind = openedUnderLoad
	case "contactor-stuck":
		kind = contactStuck
	case run.ForcedStop:
		if !powered(m, i) {
			return "", nil
		}
		return stoppedLive, contactors(car)
	default:
		return "", nil
	}
	if len(parts) == 0 {
		if i.State["main_coil"] == "unplugged" {
			return "", nil
		}
		parts = contactors(car) // which one is not known
	}
	return kind, parts
}

// powered reports whether main contacts may have carried something when a live
// run was stopped, by the state of the car as last said. Unknown counts as
// powered, but for a run that had not reached the first step with packs in.
func powered(m *run.Machine, i run.Incident) bool {
	switch {
	case i.State["packs"] == "out", i.State["service_disconnect"] == "out", i.State["main_coil"] == "unplugged",
		strings.HasSuffix(i.State["contactors"], "open"):
		return false
	}
	if _, said := i.State["packs"]; said {
		return true
	}
	return !slices.ContainsFunc(m.Plan().Steps, func(s plan.Step) bool {
		return slices.ContainsFunc(s.State, func(st plan.State) bool { return st.Name == "packs" })
	})
}

// Events gives what happened in live runs and makes proofs void, as works,
// oldest first. What it makes void is by today's rework.yaml; of an event that
// the file does not have, the parts decide.
func (l Log) Events() []*Work {
	if l.Shop == nil {
		return nil
	}
	var out []*Work
	for _, m := range l.Runs.Runs() {
		start, known := l.Record.Begin(m.ID())
		if !known {
			continue
		}
		for _, i := range m.Incidents() {
			kind, parts := eventOf(m, i, l.Shop.Parts)
			if kind == "" || len(parts) == 0 {
				continue
			}
			w := &Work{Ref: Ref{i.Event.Origin, i.Event.Index, i.Event.Leaf}, Time: i.Event.Time, Signer: i.Event.Signer,
				Text: strings.TrimSuffix(i.Path+": "+i.Text, ": "), Kind: kind, Run: m.ID(), Parts: parts, Keeps: map[string]string{},
				// Entries are folded one by one: the place of one is that of the run's
				// first and the distance to it.
				seq: l.Record.began[m.ID()] + i.Event.Index - start.Index}
			for _, e := range l.Shop.Effects(kind, parts) {
				if e.Kept {
					w.Keeps[e.Proof] = e.Reason
				} else {
					w.Voids = append(w.Voids, Voiding{e.Proof, e.Parts, e.Reason})
				}
			}
			out = append(out, w)
		}
	}
	return out
}

// String names a work or an event in a reason.
func (w *Work) String() string {
	if w.Run != "" {
		return fmt.Sprintf("event in run %s, entry %d, %s (%s)", w.Run, w.Index, w.Text, w.Kind)
	}
	if w.Beside {
		return fmt.Sprintf("work %d of the log %s, whose order to this one is not known, %s", w.Index, run.ShortOrigin(w.Origin), w.Text)
	}
	return fmt.Sprintf("work %d, %s", w.Index, w.Text)
}
