package bay

import (
	"net/http"
)

// stop is pressed: the instruction shows whatever becomes of the record.
func (s *Server) stop(c *call) {
	release := c.hold()
	_, f := s.desk.stop(c.device)
	v := s.stopView(c)
	v.Fault = f
	release()
	s.changes.happened()
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "stop", v)
}

// stopPage shows the instruction alone.
func (s *Server) stopPage(c *call) {
	release := c.hold()
	v := s.stopView(c)
	release()
	c.draw(http.StatusOK, "stop", v)
}

// A stopView tells how to make safe, and whether it is on record.
type stopView struct {
	page
	Recorded, Pending bool
}

func (s *Server) stopView(c *call) stopView {
	v := stopView{page: c.base("stop", s.words.say("title stop")), Pending: s.desk.pressed != ""}
	if m := s.desk.machine(); m != nil {
		v.Recorded = madeSafe(m)
	}
	return v
}
