package bay

import (
	"html/template"
	"net/http"
	"slices"
	"strings"

	"hvproof/internal/people"
)

// roles names what a person may do.
func (s *Server) roles(list []people.Role) string {
	var out []string
	for _, r := range list {
		out = append(out, s.words.maybe("role "+string(r), string(r)))
	}
	return strings.Join(out, ", ")
}

// A personLine is one person with a key that counts.
type personLine struct {
	ID, Name, Roles string
	Open            bool
}

// A peopleView shows who may sign, and which devices see the page.
type peopleView struct {
	page
	People      []personLine
	Devices     []deviceLine
	Code        string
	Minutes     int
	Address     string
	QR          template.HTML
	Words, Hex  string
	Fingerprint bool
}

type deviceLine struct {
	ID, Name, Since string
	Here, Answers   bool
}

// peoplePage draws people and devices.
func (s *Server) peoplePage(c *call) { s.drawPeople(c, "", nil) }

func (s *Server) drawPeople(c *call, code string, f *fault) {
	d := s.desk
	release := c.hold()
	v := peopleView{page: c.base("people", s.words.say("title people")), Code: code, Minutes: int(codeLifetime.Minutes()), Address: s.opt.Address}
	v.Fault = f
	folder, _ := d.car.Folder()
	seen := map[string]bool{}
	for _, p := range d.car.Persons() {
		if seen[p.ID] {
			continue
		}
		seen[p.ID] = true
		l := personLine{ID: p.ID, Roles: s.roles(p.Roles), Open: d.operator == p.ID}
		if folder != nil {
			if name := folder.Name(p.ID); name != p.ID {
				l.Name = name
			}
		}
		v.People = append(v.People, l)
	}
	for _, x := range s.devices.all() {
		v.Devices = append(v.Devices, deviceLine{x.ID, x.Name, x.Since.Format("2006-01-02 15:04"), x.ID == c.device.ID, d.operator != "" && x.ID == d.holder})
	}
	slices.Reverse(v.Devices)
	release()
	if s.opt.LAN {
		v.Fingerprint, v.Words, v.Hex = true, FingerprintWords(s.opt.Fingerprint), FingerprintHex(s.opt.Fingerprint)
		if qr, err := qrDrawing(s.opt.Address); err == nil {
			v.QR = qr
		}
	}
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "people", v)
}

// code makes a pairing code for another device.
func (s *Server) code(c *call) {
	if !s.opt.LAN {
		s.drawPeople(c, "", s.desk.fault(http.StatusConflict, "fault not shared"))
		return
	}
	code, err := s.devices.newCode()
	if err != nil {
		s.drawPeople(c, "", faultOf(err))
		return
	}
	s.drawPeople(c, code, nil)
}

// throwOut ends a device's pairing. If it was the one that answers, the key
// is locked with it.
func (s *Server) throwOut(c *call) {
	id := c.r.PostFormValue("device")
	release := c.hold()
	found, err := s.devices.out(id)
	if found && s.desk.holder == id {
		s.desk.lock()
		if m := s.desk.machine(); m != nil {
			m.Interrupted()
		}
	}
	release()
	s.changes.happened()
	if err != nil {
		s.drawPeople(c, "", faultOf(err))
		return
	}
	c.see("/people")
}

// A pairView is the form that pairs a device.
type pairView struct {
	page
	Words, Hex string
}

// pairPage draws it.
func (s *Server) pairPage(c *call) {
	if c.token != "" { // it is paired
		c.see("/")
		return
	}
	s.drawPair(c, nil)
}

func (s *Server) drawPair(c *call, f *fault) {
	if !s.opt.LAN {
		c.see("/")
		return
	}
	v := pairView{page: page{Name: "pair", Title: s.words.say("title pair"), Fault: f, LAN: true},
		Words: FingerprintWords(s.opt.Fingerprint), Hex: FingerprintHex(s.opt.Fingerprint)}
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "pair", v)
}

// pair takes a pairing code and gives the device its cookie.
func (s *Server) pair(c *call) {
	if !s.opt.LAN {
		c.see("/")
		return
	}
	if wait := s.codes.wait(""); wait > 0 {
		s.drawPair(c, s.desk.fault(http.StatusTooManyRequests, "fault codes", "seconds", int(wait.Seconds())+1))
		return
	}
	ok, ended := s.devices.pair(c.r.PostFormValue("code"))
	if !ok {
		s.codes.failed("")
		if ended {
			s.opt.Say(s.words.say("code ended"))
		}
		s.drawPair(c, s.desk.fault(http.StatusForbidden, "fault code"))
		return
	}
	_, cookie, err := s.devices.add(c.r.PostFormValue("name"))
	if err != nil {
		c.failPage(faultOf(err))
		return
	}
	s.setCookie(c.w, cookie)
	s.changes.happened()
	c.see("/")
}

// NewCode makes a pairing code, for the person at the machine.
func (s *Server) NewCode() (string, error) { return s.devices.newCode() }
