package bay

import (
	"bytes"
	"encoding/hex"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// answer takes the form of the open step. A reading comes twice: first to be
// read back, then to be recorded.
func (s *Server) answer(c *call) {
	d := s.desk
	c.hold()
	r := c.r
	t := typed{Digits: r.PostFormValue("digits"), Unit: r.PostFormValue("unit"), Over: r.PostFormValue("over") == "yes",
		Range: r.PostFormValue("range"), Text: r.PostFormValue("text"), Reason: r.PostFormValue("reason"), Cause: r.PostFormValue("cause")}
	m, p, f := d.waiting(c.device, r.PostFormValue("mark"))
	if f != nil {
		if f.status == http.StatusConflict {
			t = typed{} // the page that it was typed on is gone
		}
		s.runAgain(c, f, t)
		return
	}
	a, rb, f := s.compose(m, p, c, t)
	if f != nil {
		d.touch(c.device)
		s.runAgain(c, f, t)
		return
	}
	if rb != nil {
		d.touch(c.device)
		v := s.runView(c)
		v.Typed, v.ReadBack = t, rb
		d.mu.Unlock()
		c.draw(http.StatusOK, "run", v)
		return
	}
	f = d.answer(c.device, m, p, a, c.file(), signature{r.PostFormValue("person"), r.PostFormValue("passphrase")})
	if f != nil {
		s.runAgain(c, f, t)
		if f.status == http.StatusInternalServerError {
			s.changes.happened()
		}
		return
	}
	d.mu.Unlock()
	s.changes.happened()
	c.see("/run")
}

// compose makes the machine's answer of a form: the text that a person would
// have typed at the terminal.
func (s *Server) compose(m *run.Machine, p run.Prompt, c *call, t typed) (run.Answer, *readBack, *fault) {
	r := c.r
	wrong := func(name string, pairs ...any) (run.Answer, *readBack, *fault) {
		return run.Answer{}, nil, s.desk.fault(http.StatusUnprocessableEntity, name, pairs...)
	}
	text := strings.TrimSpace(t.Text)
	switch p.Kind {
	case run.AskCaution:
		for _, caution := range p.Texts {
			if !slices.Contains(r.PostForm["caution"], caution.ID) {
				return wrong("fault caution")
			}
		}
		text = run.Acknowledge
	case run.AskState, run.AskResume:
		if len(p.State) == 0 {
			break
		}
		var parts []string
		for _, st := range p.State {
			said := strings.TrimSpace(r.PostFormValue("state." + st.Name))
			if said == "" {
				return wrong("fault state", "name", strings.ReplaceAll(st.Name, "_", " "))
			}
			parts = append(parts, st.Name+": "+said)
		}
		text = strings.Join(parts, ", ")
	case run.AskAmbient:
		return s.ambient(r)
	case run.AskAgain:
		return s.onceMore(p, r, t)
	case run.AskWait:
		said, _, fault := s.words.padReading(t.Digits, t.Unit, false, quantity.Second)
		if fault != "" {
			return wrong(fault)
		}
		text = said
	case run.AskCapture:
		file := c.file()
		if file == nil {
			break // read by eye
		}
		content, err := file.Bytes()
		if err != nil {
			return run.Answer{}, nil, faultOf(err)
		}
		name := strings.ReplaceAll(file.name, ";", "_")
		if text != "" {
			text = name + "; " + text
		} else {
			text = name
		}
		return run.Answer{Text: text, File: content}, nil, nil
	case run.AskReading:
		return s.read(m, p, r, t)
	}
	return run.Answer{Text: text}, nil, nil
}

// ambient puts temperature, humidity and wet or dry together.
func (s *Server) ambient(r *http.Request) (run.Answer, *readBack, *fault) {
	temperature, _, fault := s.words.padReading(r.PostFormValue("temperature"), "°C", false, quantity.Kelvin)
	humidity, _, other := s.words.padReading(r.PostFormValue("humidity"), "%", false, quantity.One)
	if fault == "" {
		fault = other
	}
	if fault != "" {
		return run.Answer{}, nil, s.desk.fault(http.StatusUnprocessableEntity, fault)
	}
	return run.Answer{Text: temperature + ", " + humidity + ", " + r.PostFormValue("surface")}, nil, nil
}

// onceMore is the answer after a failed attempt: a reason is wanted for
// either way.
func (s *Server) onceMore(p run.Prompt, r *http.Request, t typed) (run.Answer, *readBack, *fault) {
	a := run.Answer{Reason: strings.TrimSpace(t.Reason), Cause: strings.TrimSpace(t.Cause)}
	switch r.PostFormValue("then") {
	case "again":
		a.Again = true
	case "failed":
		a.Decline, a.Cause = true, ""
	}
	if a.Reason == "" {
		return a, nil, s.desk.fault(http.StatusUnprocessableEntity, "fault no reason")
	}
	return a, nil, nil
}

// read is a reading: it is recorded only in the form in which it was read
// back, with the questions that stood beside it.
func (s *Server) read(m *run.Machine, p run.Prompt, r *http.Request, t typed) (run.Answer, *readBack, *fault) {
	text, words, name := s.words.padReading(t.Digits, t.Unit, t.Over, p.Step.Dim)
	if name != "" {
		return run.Answer{}, nil, s.desk.fault(http.StatusUnprocessableEntity, name)
	}
	a := run.Answer{Text: text, Range: t.Range, At: s.desk.car.Now()}
	rb := &readBack{Text: text, Words: words}
	_, err := m.Answer(p, a)
	var back *run.AskBack
	switch {
	case errors.As(err, &back):
		rb.Questions, a.Confirm = back.Questions, true
	case err != nil:
		return a, nil, s.desk.because(err)
	}
	rb.Hash = drawnHash(mark(m, p), text, t.Range, rb.Questions)
	if r.PostFormValue("read") == rb.Hash {
		return a, nil, nil
	}
	return a, rb, nil
}

// unlock makes this device the one that answers.
func (s *Server) unlock(c *call) {
	c.hold()
	if f := s.desk.unlock(c.device, c.r.PostFormValue("person"), c.r.PostFormValue("passphrase")); f != nil {
		s.runAgain(c, f, typed{})
		return
	}
	s.desk.mu.Unlock()
	s.changes.happened()
	c.see("/run")
}

// lock forgets the operator's key; anybody may.
func (s *Server) lock(c *call) {
	release := c.hold()
	s.desk.lock()
	if m := s.desk.machine(); m != nil {
		m.Interrupted()
	}
	release()
	s.changes.happened()
	c.see("/run")
}

// leave leaves the run, to be resumed.
func (s *Server) leave(c *call) {
	c.hold()
	if f := s.desk.leave(c.device, c.r.PostFormValue("mark")); f != nil {
		s.runAgain(c, f, typed{})
		return
	}
	s.desk.mu.Unlock()
	s.changes.happened()
	c.see("/run")
}

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

// note records a remark or a file.
func (s *Server) note(c *call) {
	c.hold()
	text := c.r.PostFormValue("text")
	if file := c.file(); text == "" && file != nil {
		text = s.words.say("note file", "name", file.name)
	}
	if f := s.desk.note(text, c.file()); f != nil {
		s.runAgain(c, f, typed{})
		return
	}
	s.desk.mu.Unlock()
	s.changes.happened()
	c.see("/run/steps")
}

// file sends a file that a note of some run or work on HV names: pictures to be looked at,
// everything else to be kept.
func (s *Server) file(c *call) {
	release := c.hold()
	digest, b, f := s.fileOf(c.r.PathValue("digest"))
	release()
	if f != nil {
		c.failPage(f)
		return
	}
	kind := http.DetectContentType(b)
	h := c.w.Header()
	h.Set("Content-Type", "application/octet-stream")
	h.Set("Content-Disposition", `attachment; filename="`+hex.EncodeToString(digest[:8])+`"`)
	if kind == "image/jpeg" || kind == "image/png" || kind == "image/webp" || kind == "image/gif" {
		h.Set("Content-Type", kind)
		h.Set("Content-Disposition", "inline")
	}
	http.ServeContent(c.w, c.r, "", c.s.opt.Now(), bytes.NewReader(b))
}

// waveform draws a recorded capture.
func (s *Server) waveform(c *call) {
	index, err := strconv.ParseInt(c.r.PathValue("entry"), 10, 64)
	var b bytes.Buffer
	release := c.hold()
	if err == nil {
		err = s.desk.car.Waveform(&b, c.r.PathValue("run"), index)
	}
	release()
	if err != nil {
		f := faultOf(err)
		f.status = http.StatusNotFound
		c.failPage(f)
		return
	}
	c.w.Header().Set("Content-Type", "image/svg+xml")
	_, _ = c.w.Write(b.Bytes())
}

func (s *Server) fileOf(name string) (digest [32]byte, b []byte, f *fault) {
	raw, err := hex.DecodeString(name)
	if err != nil || len(raw) != 32 {
		return digest, nil, s.desk.fault(http.StatusNotFound, "fault no page")
	}
	digest = [32]byte(raw)
	for _, m := range s.desk.car.History().Runs() {
		for _, e := range m.Events() {
			if e.Body.Kind == entry.Note && e.Body.Text("file") == name {
				if b, err = s.desk.car.Blob(digest); err != nil {
					return digest, nil, faultOf(err)
				}
				return digest, b, nil
			}
		}
	}
	for _, w := range s.desk.car.Works() {
		if slices.Contains(w.Photos, name) {
			if b, err = s.desk.car.Blob(digest); err != nil {
				return digest, nil, faultOf(err)
			}
			return digest, b, nil
		}
	}
	return digest, nil, s.desk.fault(http.StatusNotFound, "fault no page")
}
