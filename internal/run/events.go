package run

import (
	"time"

	"hvproof/internal/entry"
)

// An Event is one entry of a run, as the log has it.
type Event struct {
	Origin string   // of the log that it stands in
	Index  int64    // of the entry
	Leaf   [32]byte // of the entry
	Time   time.Time
	Zone   string // offset of local time from UTC, "+01:00"
	Signer string // whose signature it carries
	Body   entry.Body
}

// Local gives the time as the clock on the wall showed it.
func (e Event) Local() time.Time {
	zone, err := time.Parse("-07:00", e.Zone)
	if err != nil {
		return e.Time.UTC()
	}
	_, offset := zone.Zone()
	return e.Time.In(time.FixedZone("", offset))
}

// Events gives every entry of the run in the order of the log, its first
// entry included where the run is part of a History. Entries that no run
// would write (see Broken) are among them.
func (m *Machine) Events() []Event { return m.events }

func (m *Machine) note(e entry.Entry, leaf [32]byte, signer string) {
	m.events = append(m.events, Event{e.Origin, e.Index, leaf, e.Time, e.Zone, signer, e.Body})
}
