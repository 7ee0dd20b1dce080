package bay

import (
	"fmt"
	"net/http"
	"sync"
	"time"
)

// changes tells the pages that something has happened, so that each asks for
// itself anew.
type changes struct {
	mu   sync.Mutex
	boot string // another one with each start of the server
	n    int
	next chan struct{}
}

func newChanges(boot string) *changes { return &changes{boot: boot, next: make(chan struct{})} }

func (c *changes) happened() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.n++
	close(c.next)
	c.next = make(chan struct{})
}

// version names the present, and gives what is closed when it is past.
func (c *changes) version() (string, <-chan struct{}) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return fmt.Sprintf("%s-%d", c.boot, c.n), c.next
}

// heartbeat is how often a page hears from the server; a page that hears
// nothing for some of them says that it is not connected.
const heartbeat = 2 * time.Second

// events sends the version whenever it changes, and at every heartbeat.
func (s *Server) events(c *call) {
	out := http.NewResponseController(c.w)
	if err := out.SetWriteDeadline(time.Time{}); err != nil && c.r.Context().Err() == nil {
		c.failPage(faultOf(err))
		return
	}
	c.w.Header().Set("Content-Type", "text/event-stream")
	_, _ = fmt.Fprint(c.w, "retry: 500\n\n") // a lost page comes back within half a second
	beat := time.NewTicker(heartbeat)
	defer beat.Stop()
	for {
		version, next := s.changes.version()
		if _, known := s.devices.of(c.cookie()); !known {
			version = "out" // thrown out: the page asks anew, and is told
		}
		if _, err := fmt.Fprintf(c.w, "data: %s\n\n", version); err != nil || out.Flush() != nil {
			return
		}
		select {
		case <-c.r.Context().Done():
			return
		case <-next:
		case <-beat.C:
		}
	}
}

func (c *call) cookie() string {
	k, err := c.r.Cookie(c.s.cookieName())
	if err != nil {
		return ""
	}
	return k.Value
}
