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

// An itemView is the form that closes an open item at the joint, in two pages:
// what was done, and the same read aloud and signed; or how it was closed.
type itemView struct {
	page
	Item     Item
	Units    []string
	Point    string
	Sign     bool
	Signers  []string
	Anybody  []string
	Typed    typed
	Said     map[string]string
	Person   string
	ReadBack *readBack
	Heard    map[string][]string // the numbers in what was said, in words
	Closed   *Closing
}

// itemPage draws the form that closes an item, or how it was closed.
func (s *Server) itemPage(c *call) {
	c.hold()
	s.drawItem(c, nil, itemView{Said: map[string]string{}})
}

// drawItem draws the page and gives the desk back.
func (s *Server) drawItem(c *call, f *fault, v itemView) {
	d := s.desk
	v.page, v.Point, v.Units = c.base("item", s.words.say("title close")), s.words.say("decimal"), unitsOf(quantity.NewtonMetre)
	v.Fault = f
	id := c.r.PathValue("id")
	ready, err := d.car.Ready()
	i := slices.IndexFunc(ready.Items, func(i Item) bool { return i.ID == id && i.Closes })
	closings := d.car.Closings()
	k := slices.IndexFunc(closings, func(x Closing) bool { return x.ID == id })
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
	case i >= 0:
		v.Item = ready.Items[i]
	case k >= 0:
		v.Closed, v.ReadBack, v.Title = &closings[k], nil, s.words.say("title closed")
	default:
		c.failPage(d.fault(http.StatusNotFound, "fault no item"))
		return
	}
	v.Heard = map[string][]string{}
	for key, text := range v.Said {
		v.Heard[key] = s.words.numbersIn(text)
	}
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "item", v)
}

// closeItem reads what was done back, and then records that an item is done,
// with a photograph where there is one, signed by the person who was chosen.
func (s *Server) closeItem(c *call) {
	d, r := s.desk, c.r
	v := itemView{Said: map[string]string{}, Person: r.PostFormValue("person"), Typed: typed{Digits: r.PostFormValue("digits"), Unit: r.PostFormValue("unit")}}
	said := []string{v.Person}
	for _, key := range []string{"text", "tool", "mark", "by", "seen_by"} {
		v.Said[key] = strings.TrimSpace(r.PostFormValue(key))
		said = append(said, v.Said[key])
	}
	id := r.PathValue("id")
	c.hold()
	if closings := d.car.Closings(); r.PostFormValue("picture") == "yes" {
		k := slices.IndexFunc(closings, func(x Closing) bool { return x.ID == id && x.Here })
		s.picture(c, v, closings, k)
		return
	} else if slices.ContainsFunc(closings, func(x Closing) bool { return x.ID == id }) {
		s.drawItem(c, d.fault(http.StatusConflict, "fault late"), v) // the reply was lost: it is done
		return
	}
	text, words := "", ""
	if strings.TrimSpace(v.Typed.Digits) != "" {
		var wrong string
		text, words, wrong = s.words.padReading(v.Typed.Digits, v.Typed.Unit, false, quantity.NewtonMetre)
		if wrong != "" {
			s.drawItem(c, d.fault(http.StatusUnprocessableEntity, wrong), v)
			return
		}
		v.Said["torque"] = text
	}
	if v.Person == "" {
		s.drawItem(c, d.fault(http.StatusUnprocessableEntity, "fault nobody"), v)
		return
	}
	if err := d.car.CheckClose(id, v.Person, v.Said); err != nil {
		s.drawItem(c, faultOf(err), v)
		return
	}
	v.ReadBack = &readBack{Text: text, Words: words, Hash: drawnHash("item "+id, text, "", said)}
	switch r.PostFormValue("read") {
	case "":
		s.drawItem(c, nil, v)
		return
	case v.ReadBack.Hash:
	default: // it was changed since, or "not so" was touched
		v.ReadBack = nil
		s.drawItem(c, nil, v)
		return
	}
	f := d.signed(v.Person, r.PostFormValue("passphrase"), func() *fault {
		file := c.file()
		if file != nil {
			if err := file.Keep(); err != nil {
				return faultOf(err)
			}
		}
		e, err := d.car.CloseItem(id, v.Person, v.Said)
		if err != nil {
			return faultOf(err)
		}
		return s.pictured(e.Index, file, v.Person)
	})
	if f != nil {
		s.drawItem(c, f, v)
		return
	}
	d.mu.Unlock()
	s.changes.happened()
	c.see("/")
}

// picture records a photograph of an item that was closed without it.
func (s *Server) picture(c *call, v itemView, closings []Closing, k int) {
	d, file := s.desk, c.file()
	var f *fault
	switch {
	case k < 0:
		f = d.fault(http.StatusNotFound, "fault no item")
	case file == nil:
		f = d.fault(http.StatusUnprocessableEntity, "fault no photograph")
	default:
		digest := file.Digest()
		if slices.ContainsFunc(closings[k].Files, func(x ClosingFile) bool { return x.Digest == hex.EncodeToString(digest[:]) }) {
			f = d.fault(http.StatusConflict, "fault late")
			break
		}
		f = d.signed(v.Person, c.r.PostFormValue("passphrase"), func() *fault {
			if err := file.Keep(); err != nil {
				return faultOf(err)
			}
			return s.pictured(closings[k].Entry, file, v.Person)
		})
	}
	if f != nil {
		s.drawItem(c, f, v)
		return
	}
	d.mu.Unlock()
	s.changes.happened()
	c.see("/")
}

// pictured records that a kept photograph belongs to an entry.
func (s *Server) pictured(index int64, file *upload, person string) *fault {
	if file == nil {
		return nil
	}
	digest := file.Digest()
	b := entry.Body{Kind: entry.Note}
	b.Add("entry", strconv.FormatInt(index, 10))
	b.Add("text", s.words.say("note file", "name", file.name))
	b.Add("file", hex.EncodeToString(digest[:]))
	b.Add("name", file.name)
	if _, err := s.desk.car.Commit(b, person); err != nil {
		return faultOf(err)
	}
	return nil
}
