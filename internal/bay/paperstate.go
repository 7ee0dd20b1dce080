package bay

import (
	"encoding/hex"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/form"
)

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
	pad      *paperPad // where a reading is asked
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
		if x.Key == d.Photos && slices.ContainsFunc(c.files, func(f upload) bool { return f.Size() > maxPhoto }) {
			st.fault = s.desk.fault(http.StatusRequestEntityTooLarge, "fault photograph")
			return st
		}
		st.pad = nil
		var texts []string
		var digests [][32]byte
		var given bool
		if x.Reading {
			texts, given = s.padAnswers(c, x, st)
		} else {
			texts, digests, given = s.given(c, d, x)
		}
		if x.Key == back || !given {
			st.chosen = texts
			st.text = strings.Join(texts, "\n")
			return st
		}
		if x.Many && slices.ContainsFunc(texts, func(t string) bool { return strings.EqualFold(t, form.Done) }) {
			texts = nil // the word ends a list at a terminal, and is no answer
		}
		if x.Reading && slices.ContainsFunc(texts, func(t string) bool { return !typedReading(t) }) {
			st.fault = s.desk.fault(http.StatusUnprocessableEntity, "fault reading")
			return st
		}
		err := takes(st.form, x, texts)
		var refused *form.Refused
		switch {
		case errors.As(err, &refused):
			st.fault = &fault{http.StatusUnprocessableEntity, refused.Message, refused.Hint, true}
		case err != nil:
			st.fault = faultOf(err)
		}
		if err != nil {
			st.text, st.chosen = strings.Join(texts, "\n"), texts
			st.form = s.upTo(d, st.signer, st.said) // without half of the answers to this field
			st.field, _ = st.form.Next()
			return st
		}
		a := answered{Key: x.Key, Ask: s.ask(d, x), Texts: texts, Named: len(x.Choices) == 0}
		for _, t := range st.form.All(x.Key) {
			a.Shown = append(a.Shown, shown{s.label(d, x, t), s.words.numbersIn(t)})
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
