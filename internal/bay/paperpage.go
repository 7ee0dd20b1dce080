package bay

import (
	"encoding/hex"
	"errors"
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
	Effects []Effect
	Signs   []string // who types a passphrase now
}

// answered is one field with its answers.
type answered struct {
	Key, Ask string
	Texts    []string // as typed or touched
	Shown    []string // as the form took them
	Digests  []string // of photographs
	names    []string // of each
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

// A paperState is a dialogue as far as its page has come.
type paperState struct {
	dialogue *Dialogue
	form     *form.Form
	signer   string
	said     []answered
	field    *form.Field // nil: all is answered
	text     string
	chosen   []string
	digests  [][32]byte
	fault    *fault
}

// replay has the form take what the page brought, field by field, up to the
// first that it has no answer to, that is to be changed, or that is refused.
func (s *Server) replay(c *call, d *Dialogue) *paperState {
	st := &paperState{dialogue: d, signer: c.r.PostFormValue("signer")}
	if c.r.Method != http.MethodPost || len(d.Why) > 0 {
		st.signer = ""
		return st
	}
	if !slices.Contains(d.Signers, st.signer) {
		st.signer = ""
		st.fault = s.desk.fault(http.StatusUnprocessableEntity, "fault nobody")
		return st
	}
	back := c.r.PostFormValue("back")
	if back == "signer" {
		st.signer = ""
		return st
	}
	st.form = d.Form(st.signer)
	for {
		x, more := st.form.Next()
		if !more {
			st.field = nil
			return st
		}
		st.field = x
		texts, digests, given := s.given(c, d, x)
		if x.Key == back || !given {
			st.chosen = texts
			st.text = strings.Join(texts, "\n")
			return st
		}
		if x.Many && slices.ContainsFunc(texts, func(t string) bool { return strings.EqualFold(t, form.Done) }) {
			texts = nil // the word ends a list at a terminal, and is no answer
		}
		err := takes(st.form, x, texts)
		var refused *form.Refused
		switch {
		case errors.As(err, &refused):
			st.fault = &fault{http.StatusUnprocessableEntity, refused.Message, refused.Hint}
		case err != nil:
			st.fault = faultOf(err)
		}
		if err != nil {
			st.text, st.chosen = strings.Join(texts, "\n"), texts
			st.form = s.upTo(d, st.signer, st.said) // without half of the answers to this field
			st.field, _ = st.form.Next()
			return st
		}
		a := answered{Key: x.Key, Ask: s.ask(d, x), Texts: texts}
		for _, t := range st.form.All(x.Key) {
			a.Shown = append(a.Shown, s.label(d, x, t))
		}
		for i, digest := range digests {
			a.Digests, a.names = append(a.Digests, hex.EncodeToString(digest[:])), append(a.names, texts[i])
		}
		st.said, st.digests = append(st.said, a), append(st.digests, digests...)
	}
}

// takes is Take, but that no answer at all to a field that must have one is
// refused as such.
func takes(f *form.Form, x *form.Field, texts []string) error {
	if len(texts) == 0 && !x.Optional {
		return f.Answer("")
	}
	return f.Take(texts)
}

// upTo answers a form with what it took before.
func (s *Server) upTo(d *Dialogue, signer string, said []answered) *form.Form {
	f := d.Form(signer)
	for _, a := range said {
		if err := f.Take(a.Texts); err != nil {
			break
		}
	}
	return f
}

// given gives what the page brought for a field: answers that were taken
// before, or the answer to the question that it asked. Photographs are in the
// log's store before the form takes their names.
func (s *Server) given(c *call, d *Dialogue, x *form.Field) (texts []string, digests [][32]byte, ok bool) {
	v := c.r.PostForm
	kept, before := v["a."+x.Key]
	asked := v.Get("asked") == x.Key
	if x.Key == d.Photos {
		for _, k := range kept {
			name, digest := s.photo(k)
			if name != "" {
				texts, digests = append(texts, name), append(digests, digest)
			}
		}
		for _, f := range c.files {
			if asked && f.Size() > 0 && f.Keep() == nil {
				texts, digests = append(texts, f.name), append(digests, f.Digest())
			}
		}
		return texts, digests, before || asked
	}
	if before && !asked {
		return slices.DeleteFunc(slices.Clone(kept), func(t string) bool { return strings.TrimSpace(t) == "" }), nil, true
	}
	if !asked {
		return nil, nil, false
	}
	if v.Get("none") == "yes" {
		return nil, nil, true
	}
	for _, t := range v["answer"] {
		lines := []string{t}
		if x.Many {
			lines = strings.Split(t, "\n")
		}
		for _, line := range lines {
			if line = strings.TrimSpace(line); line != "" {
				texts = append(texts, line)
			}
		}
	}
	if !x.Many && len(texts) > 1 {
		texts = texts[:1] // a key was touched, and words were typed: the key
	}
	return texts, nil, true
}

// photo takes "DIGEST NAME" apart, if the store has such a file.
func (s *Server) photo(text string) (name string, digest [32]byte) {
	sum, name, _ := strings.Cut(text, " ")
	raw, err := hex.DecodeString(sum)
	if err != nil || len(raw) != 32 {
		return "", digest
	}
	digest = [32]byte(raw)
	if _, err := s.desk.car.Blob(digest); err != nil {
		return "", digest
	}
	return name, digest
}

// recordPaper signs the dialogue with the keys of all who sign it, each
// unlocked for this one.
func (s *Server) recordPaper(c *call, d *Dialogue, st *paperState) *fault {
	signers := st.signs()
	for i, person := range signers {
		if f := s.desk.open(person, c.r.PostFormValue("passphrase."+strconv.Itoa(i))); f != nil {
			s.desk.lockAll(signers[:i])
			return f
		}
	}
	defer s.desk.lockAll(signers)
	if err := d.Record(d, st.form, st.signer, st.digests); err != nil {
		f := faultOf(err)
		if f.status == http.StatusInternalServerError {
			f.message = s.words.say("fault not recorded", "why", f.message)
		}
		return f
	}
	return nil
}

// complete reports whether every question has its answer.
func (st *paperState) complete() bool {
	return st.fault == nil && st.form != nil && st.field == nil && len(st.dialogue.Why) == 0
}

// signs gives who signs, in order.
func (st *paperState) signs() []string {
	out := []string{st.signer}
	if st.dialogue.Second != "" {
		out = append(out, st.form.Get(st.dialogue.Second))
	}
	return out
}

// lockAll forgets keys that were opened for one signature; the operator's
// stays open for the run.
func (d *desk) lockAll(persons []string) {
	for _, p := range persons {
		if p != d.operator {
			d.car.Lock(p)
		}
	}
}

// drawPaper draws the dialogue and gives the desk back.
func (s *Server) drawPaper(c *call, st *paperState, f *fault) {
	d := st.dialogue
	v := paperView{page: c.base("paper", s.words.say("title "+d.What)), Dialogue: d, Address: d.address(), Signer: st.signer, Said: st.said,
		Field: st.field, Text: st.text, Ask: s.words.say("paper signer")}
	v.Fault, v.Around = f, "" // what is typed stays, whatever happens in a run
	v.Hidden = s.hidden(c, st)
	if v.Signer != "" && st.field != nil {
		v.Ask = s.ask(d, st.field)
		v.Files = st.field.Key == d.Photos
		v.Offers = s.offers(st)
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
