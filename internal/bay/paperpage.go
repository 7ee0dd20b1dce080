package bay

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"hvproof/internal/form"
)

// A paperView is one question of a dialogue, or all its answers before they
// are signed. The answers so far travel in the page: the server keeps nothing
// of a dialogue, and has the form take them anew each time.
type paperView struct {
	page
	Dialogue *Dialogue
	Address  string
	Said     []answered // in the order of the form
	Signer   string     // "": who signs is asked first

	Hidden []pair // what the page brings again

	Field   *form.Field // the question; nil: all is answered
	Ask     string
	Offers  []offer
	Text    string // that was not taken
	Files   bool   // it is answered with photographs
	Named   bool   // what is offered are names of the car and the log
	Pad     *paperPad
	Machine []command // what the page cannot do about it
	Effects []Effect
	Signs   []string // who types a passphrase now
}

// answered is one field with its answers.
type answered struct {
	Key, Ask string
	Texts    []string // as typed or touched
	Shown    []shown  // as the form took them
	Digests  []string // of photographs
	names    []string // of each
	Named    bool     // they are names, or were typed
}

// shown is one answer with the numbers in it in words.
type shown struct {
	Text  string
	Words []string
}

type pair struct{ Name, Value string }

type offer struct {
	Value, Label string
	Chosen       bool
}

// address of a dialogue.
func (d *Dialogue) address() string {
	if d.Of == "" {
		return "/paper/" + d.What
	}
	return "/paper/" + d.What + "/" + d.Of
}

// paper draws the first question of a dialogue.
func (s *Server) paper(c *call) {
	c.hold()
	d, err := s.desk.car.Dialogue(c.r.PathValue("what"), c.r.PathValue("of"))
	if err != nil {
		s.desk.mu.Unlock()
		f := faultOf(err)
		f.status = max(f.status, http.StatusNotFound)
		c.failPage(f)
		return
	}
	s.drawPaper(c, s.replay(c, d), nil)
}

// fill takes one more answer, or records the dialogue.
func (s *Server) fill(c *call) {
	c.hold()
	d, err := s.desk.car.Dialogue(c.r.PathValue("what"), c.r.PathValue("of"))
	if err != nil {
		s.desk.mu.Unlock()
		c.failPage(faultOf(err))
		return
	}
	if from, err := strconv.ParseInt(c.r.PostFormValue("from"), 10, 64); err == nil && from >= 0 && from < d.From {
		d.From = from
	}
	st := s.replay(c, d)
	if st.complete() && c.r.PostFormValue("record") == "yes" {
		st.fault = s.recordPaper(c, d, st)
		if st.fault == nil {
			s.desk.mu.Unlock()
			s.changes.happened()
			c.see(d.Then)
			return
		}
		if st.fault.status == http.StatusInternalServerError {
			s.changes.happened()
		}
	}
	s.drawPaper(c, st, st.fault)
}

// drawPaper draws the dialogue and gives the desk back.
func (s *Server) drawPaper(c *call, st *paperState, f *fault) {
	d := st.dialogue
	v := paperView{page: c.base("paper", s.words.say("title "+d.What)), Dialogue: d, Address: d.address(), Signer: st.signer, Said: st.said,
		Field: st.field, Text: st.text, Ask: s.words.say("paper signer")}
	v.Fault, v.Around = f, "" // what is typed stays, whatever happens in a run
	v.Hidden = s.hidden(c, st)
	if d.What == "permit" && len(d.Why) > 0 {
		v.Machine = s.atMachine()
	}
	if v.Signer != "" && st.field != nil {
		v.Ask = s.ask(d, st.field)
		v.Files, v.Named = st.field.Key == d.Photos, len(st.field.Choices) == 0
		v.Offers, v.Pad = s.offers(st), st.pad
	}
	if st.form != nil && st.field == nil {
		v.Ask, v.Signs = s.words.say("paper check"), st.signs()
		if d.Effects != nil {
			v.Effects = d.Effects(st.form)
		}
	}
	s.desk.mu.Unlock()
	status := http.StatusOK
	if f != nil {
		status = f.status
	}
	c.draw(status, "paper", v)
}

// hidden gives the answers so far, and those to later questions where an
// earlier one is being changed: the form takes them once more.
func (s *Server) hidden(c *call, st *paperState) []pair {
	out := []pair{{"from", strconv.FormatInt(st.dialogue.From, 10)}}
	done := map[string]bool{}
	if st.field != nil {
		done["a."+st.field.Key] = true
	}
	for _, a := range st.said {
		done["a."+a.Key] = true
		texts := a.Texts
		if a.Key == st.dialogue.Photos {
			texts = nil
			for i, digest := range a.Digests {
				texts = append(texts, digest+" "+a.names[i])
			}
		}
		for _, t := range texts {
			out = append(out, pair{"a." + a.Key, t})
		}
		if len(texts) == 0 {
			out = append(out, pair{"a." + a.Key, ""})
		}
	}
	var later []string
	for name := range c.r.PostForm {
		if strings.HasPrefix(name, "a.") && !done[name] {
			later = append(later, name)
		}
	}
	slices.Sort(later)
	for _, name := range later {
		for _, t := range c.r.PostForm[name] {
			out = append(out, pair{name, t})
		}
	}
	return out
}

// offers gives the answers to a question that can be touched.
func (s *Server) offers(st *paperState) []offer {
	x, d := st.field, st.dialogue
	values := x.Choices
	if len(values) == 0 && d.Offers != nil {
		values = d.Offers(x.Key, st.form)
	}
	var out []offer
	for _, value := range values {
		out = append(out, offer{value, s.label(d, x, value), slices.Contains(st.chosen, value)})
	}
	return out
}

// ask gives the question in the wording's words, or else in the form's.
func (s *Server) ask(d *Dialogue, x *form.Field) string {
	return s.words.maybe("ask "+d.What+" "+x.Key, x.Ask)
}

// label names an answer: a choice in the wording's words or the car's own.
func (s *Server) label(d *Dialogue, x *form.Field, value string) string {
	if len(x.Choices) == 0 {
		if t, err := time.Parse(time.RFC3339, value); err == nil { // a form keeps times as entries have them
			return t.In(s.desk.car.Now().Location()).Format("2006-01-02 15:04")
		}
		return value
	}
	if own := d.Labels[value]; own != "" {
		return own
	}
	return s.words.maybe("choice "+value, strings.ReplaceAll(value, "-", " "))
}
