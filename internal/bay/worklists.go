package bay

import (
	"net/http"
)

// works lists the recorded work on HV.
func (s *Server) works(c *call) {
	release := c.hold()
	v := struct {
		page
		Works []Work
	}{page: c.base("works", s.words.say("title works")), Works: s.desk.car.Works()}
	release()
	c.draw(http.StatusOK, "works", v)
}

// permits lists what was granted, and what can be asked for.
func (s *Server) permits(c *call) {
	release := c.hold()
	v := struct {
		page
		Grants []Grant
		Force  *Grant // the permit in force
		Live   []procedureLine
		Wrong  *fault
	}{page: c.base("permits", s.words.say("title permits")), Grants: s.desk.car.Grants()}
	for i := range v.Grants {
		if g := &v.Grants[i]; g.Permit && g.InForce && v.Force == nil {
			v.Force = g
		}
	}
	folder, err := s.desk.car.Folder()
	if err != nil {
		v.Wrong = faultOf(err)
	} else {
		v.Live = liveProcedures(folder, v.Practice)
	}
	release()
	c.draw(http.StatusOK, "permits", v)
}
