package report

import (
	"fmt"
	"strings"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/people"
)

// A Source is what a report needs to know beside the runs.
type Source struct {
	Origin      string      // of the log
	Practice    bool        // as the origin says
	Start       entry.Entry // entry 0
	Fingerprint string      // of entry 0 in grouped digits, as ledger.Report has it
	Entries     int64       // how many the log has
	Newest      entry.Entry // the newest
	Checkpoint  []byte      // the newest, as stored
	Baseline    string      // which one readings and plans are compared with; empty: not said

	People []people.Person   // every key of the log
	Names  map[string]string // names of people by id, from people.yaml

	// Blob gives a file that the log names by its SHA-256. Without it no
	// waveform is drawn.
	Blob func(digest [32]byte) ([]byte, error)

	// Faults are those of verifying the log. With any of them the report is
	// marked on every page.
	Faults []Remark
	// Open is what is provisional or failed in the whole record and not closed,
	// one sentence each.
	Open []string

	// Forced permits stand on page one.
	Forced Forced
	// Remarks are those of the audit; they stand on page one.
	Remarks []Remark

	Issued  time.Time // when the report was made
	Program string    // name and version of the program that made it
}

// The marks of what is no evidence.
const (
	markPractice  = "PRACTICE - never evidence"
	markRehearsal = "REHEARSAL - never evidence"
	markFaults    = "THE RECORD DOES NOT VERIFY - see page one"
)

func (s *Source) mark(practice, rehearsal bool) string {
	var marks []string
	if len(s.Faults) > 0 {
		marks = append(marks, markFaults)
	}
	switch {
	case practice || s.Practice:
		marks = append(marks, markPractice)
	case rehearsal:
		marks = append(marks, markRehearsal)
	}
	return strings.Join(marks, " / ")
}

// who gives a person's name and id.
func (s *Source) who(id string) string {
	if name := s.Names[id]; name != "" && name != id {
		return fmt.Sprintf("%s (%s)", name, id)
	}
	return id
}

// car gives the car's name as entry 0 has it.
func (s *Source) car() string { return s.Start.Text("name") }

// clock prints a moment with its offset from UTC.
func clock(t time.Time) string { return t.Format("2006-01-02 15:04:05 -07:00") }
