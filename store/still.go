package store

import (
	"fmt"
	"time"
)

// grain is how much older than now a file's times must be before they tell
// its state apart from every later one: file systems keep times in steps, the
// coarsest of them in steps of two seconds.
const grain = 3 * time.Second

// Still names the state of the database file as far as the file system can
// tell it from any other: size, number, and the times of the last writing and
// of the last change, which no program can set. It is "" where somebody writes
// or may have, so shortly before now that a further change need not show, and
// where the system does not say when a file changed.
func (s *Store) Still(now time.Time) string {
	if s.still == nil {
		return ""
	}
	number, changed, err := changeOf(s.path)
	info, again := stampOf(s.path)
	if err != nil || again != nil || !info.equal(s.still.database) {
		return ""
	}
	if !changed.Before(now.Add(-grain)) || !info.changed.Before(now.Add(-grain)) {
		return ""
	}
	return fmt.Sprintf("%d %d %d %d", info.size, info.changed.UnixNano(), number, changed.UnixNano())
}
