package bay

import (
	"encoding/hex"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/quantity"
)

// An itemView is the form that closes an open item at the joint.
type itemView struct {
	page
	Item    Item
	Units   []string
	Point   string
	Sign    bool
	Signers []string
	Anybody []string
	Typed   typed
	Said    map[string]string
}

// itemPage draws the form that closes an item.
func (s *Server) itemPage(c *call) {
	c.hold()
	s.drawItem(c, nil, map[string]string{}, typed{})
}

// drawItem draws the form and gives the desk back.
func (s *Server) drawItem(c *call, f *fault, said map[string]string, t typed) {
	d := s.desk
	v := itemView{page: c.base("item", s.words.say("title close")), Said: said, Typed: t, Point: s.words.say("decimal"), Units: unitsOf(quantity.NewtonMetre)}
	v.Fault = f
	ready, err := d.car.Ready()
	i := slices.IndexFunc(ready.Items, func(i Item) bool { return i.ID == c.r.PathValue("id") && i.Closes })
	for _, p := range d.car.Persons() {
		if !slices.Contains(v.Anybody, p.ID) {
			v.Anybody = append(v.Anybody, p.ID)
		}
	}
	for _, role := range []people.Role{people.Operator, people.Releaser} {
		for _, id := range d.car.People(role) {
			if !slices.Contains(v.Signers, id) {
				v.Signers = append(v.Signers, id)
			}
		}
	}
	d.mu.Unlock()
	switch {
	case err != nil:
		c.failPage(faultOf(err))
		return
	case i < 0:
		c.failPage(d.fault(http.StatusNotFound, "fault no item"))
		return
	}
	v.Item = ready.Items[i]
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "item", v)
}

// closeItem records that an item is done, with its evidence and a photograph
// where there is one, signed by the person who was chosen.
func (s *Server) closeItem(c *call) {
	d, r := s.desk, c.r
	said := map[string]string{}
	for _, key := range []string{"text", "tool", "mark", "by", "seen_by"} {
		said[key] = r.PostFormValue(key)
	}
	t := typed{Digits: r.PostFormValue("digits"), Unit: r.PostFormValue("unit")}
	c.hold()
	if strings.TrimSpace(t.Digits) != "" {
		text, _, wrong := s.words.padReading(t.Digits, t.Unit, false, quantity.NewtonMetre)
		if wrong != "" {
			s.drawItem(c, d.fault(http.StatusUnprocessableEntity, wrong), said, t)
			return
		}
		said["torque"] = text
	}
	person := r.PostFormValue("person")
	f := d.signed(person, r.PostFormValue("passphrase"), func() *fault {
		e, err := d.car.CloseItem(r.PathValue("id"), person, said)
		if err != nil {
			return faultOf(err)
		}
		file := c.file()
		if file == nil {
			return nil
		}
		if err := file.Keep(); err != nil {
			return faultOf(err)
		}
		digest := file.Digest()
		b := entry.Body{Kind: entry.Note}
		b.Add("entry", strconv.FormatInt(e.Index, 10))
		b.Add("text", s.words.say("note file", "name", file.name))
		b.Add("file", hex.EncodeToString(digest[:]))
		b.Add("name", file.name)
		if _, err := d.car.Commit(b, person); err != nil {
			return faultOf(err)
		}
		return nil
	})
	if f != nil {
		s.drawItem(c, f, said, t)
		return
	}
	d.mu.Unlock()
	s.changes.happened()
	c.see("/")
}
