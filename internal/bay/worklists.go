package bay

import (
	"net/http"
	"strings"
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

// A command is what is typed at the machine, for what this page does not do.
type command struct {
	For   string
	Words []string // none is broken at the end of a line
}

// atMachine gives the commands about permits that the page has no form for:
// one in spite of reasons, one with a folder on another device, and what serves
// the page again after them.
func (s *Server) atMachine() []command {
	return []command{
		{s.words.say("machine force"), strings.Fields(`hvproof permit grant --force --reason "…"`)},
		{s.words.say("machine copy"), strings.Fields("hvproof permit grant --copy …")},
		{s.words.say("machine first"), strings.Fields("hvproof bay")},
	}
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

		Machine []command
	}{page: c.base("permits", s.words.say("title permits")), Grants: s.desk.car.Grants(), Machine: s.atMachine()}
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
