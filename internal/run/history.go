package run

import (
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
)

// A History is all runs of a log, and of the logs that it goes on from: the
// fold of their entries, oldest log first.
type History struct {
	blob   func(digest [32]byte) ([]byte, error)
	runs   []*Machine
	byID   map[string]*Machine
	plans  map[[32]byte]*plan.Plan
	meters map[[32]byte][]measure.Instrument

	// Known, where it is set, gives of a log how many entries were folded before
	// by the same program without an error: what was decided in them was held
	// against its numbers then, and is not once more.
	Known map[string]int64

	// Beyond, where it is set, says what the other readings of the car tell
	// about a value that a step of a run computes, beside the step's own limits.
	// What it says is recorded with the value, as findings.
	Beyond func(m *Machine, s *plan.Step) []string
}

// NewHistory begins a fold; blob gives what the entries name by SHA-256.
func NewHistory(blob func(digest [32]byte) ([]byte, error)) *History {
	return &History{blob: blob, byID: map[string]*Machine{}, plans: map[[32]byte]*plan.Plan{}, meters: map[[32]byte][]measure.Instrument{}}
}

// ShortOrigin gives the part of an origin that begins the ids of its runs:
// the random one.
func ShortOrigin(origin string) string {
	rest := origin
	for range 3 {
		var ok bool
		if _, rest, ok = strings.Cut(rest, "/"); !ok {
			return origin
		}
	}
	random, _, _ := strings.Cut(rest, "/")
	return random
}

// ID gives the id of the run whose first entry has the index in the log.
func ID(origin string, index int64) string {
	return ShortOrigin(origin) + "-" + strconv.FormatInt(index, 10)
}

// Runs gives all runs in the order in which they began.
func (h *History) Runs() []*Machine { return h.runs }

// Run gives the run with the id, nil if there is none.
func (h *History) Run(id string) *Machine { return h.byID[id] }

// Open gives the newest run that is not closed and that no later run has
// replaced, nil if there is none.
func (h *History) Open() *Machine {
	for i := len(h.runs) - 1; i >= 0; i-- {
		if m := h.runs[i]; !m.Closed() && !m.abandoned {
			return m
		}
	}
	return nil
}

// Apply folds one entry. The error names the entry; the fold may go on after
// it, but the run concerned proves nothing any more.
func (h *History) Apply(e entry.Entry, leaf [32]byte, signer string) error {
	if e.Kind != entry.RunStart {
		if m := h.byID[e.Run]; m != nil {
			if err := m.Apply(e, leaf, signer); err != nil {
				m.broken = err
				return err
			}
		}
		return nil
	}
	id := ID(e.Origin, e.Index)
	p, meters, err := h.load(e.Body)
	if err != nil {
		return fmt.Errorf("entry %d: run %s: %w", e.Index, id, err)
	}
	m := New(id, ReadStart(e.Body, p, meters))
	m.began, m.index, m.last, m.history = e.Time, e.Index, e.Time, h
	m.note(e, leaf, signer)
	if old := h.byID[m.start.Abandons]; old != nil && !old.Closed() {
		old.abandoned = true
	}
	h.runs, h.byID[id] = append(h.runs, m), m
	return nil
}

func (h *History) load(b entry.Body) (*plan.Plan, []measure.Instrument, error) {
	digest, err := digestOf(b, "plan")
	if err != nil {
		return nil, nil, err
	}
	p := h.plans[digest]
	if p == nil {
		text, err := h.blob(digest)
		if err != nil {
			return nil, nil, err
		}
		if p, err = plan.Parse(text); err != nil {
			return nil, nil, err
		}
		h.plans[digest] = p
	}
	if digest, err = digestOf(b, "meters"); err != nil {
		return nil, nil, err
	}
	meters, ok := h.meters[digest]
	if !ok {
		text, err := h.blob(digest)
		if err != nil {
			return nil, nil, err
		}
		if meters, err = measure.ParseInstruments(text); err != nil {
			return nil, nil, err
		}
		h.meters[digest] = meters
	}
	return p, slices.Clone(meters), nil
}

func digestOf(b entry.Body, name string) ([32]byte, error) {
	raw, err := hex.DecodeString(b.Text(name))
	if err != nil || len(raw) != 32 {
		return [32]byte{}, fmt.Errorf("%s is not a digest", name)
	}
	return [32]byte(raw), nil
}

// heldBefore reports whether the decision in an entry was held against its numbers
// before.
func (m *Machine) heldBefore(e entry.Entry) bool {
	return m.history != nil && m.history.Known != nil && e.Index < m.history.Known[e.Origin]
}

// Began gives when the run began, Ended when its last entry was made.
func (m *Machine) Began() time.Time { return m.began }

// Ended gives the time of the run's last entry.
func (m *Machine) Ended() time.Time { return m.last }

// Index gives the index of the run's first entry.
func (m *Machine) Index() int64 { return m.index }

// Abandoned reports whether a later run replaced this one before it ended.
func (m *Machine) Abandoned() bool { return m.abandoned }

// Broken gives the error that an entry of the run caused, nil if none.
func (m *Machine) Broken() error { return m.broken }
