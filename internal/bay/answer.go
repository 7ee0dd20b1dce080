package bay

import (
	"errors"
	"net/http"
	"slices"
	"strings"

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
		Range: r.PostFormValue("range"), Division: r.PostFormValue("division"), DivisionUnit: r.PostFormValue("division_unit"), Text: r.PostFormValue("text"), Reason: r.PostFormValue("reason"), Cause: r.PostFormValue("cause")}
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
			return s.readEye(m, p, r, text)
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
	if p.OnScreen {
		division, spoken, name := s.words.padReading(t.Division, t.DivisionUnit, false, p.Step.Dim)
		if name != "" {
			f := s.desk.fault(http.StatusUnprocessableEntity, name)
			f.message = s.words.say("fault division", "why", f.message)
			return run.Answer{}, nil, f
		}
		a.Division = division
		text, words = s.words.say("at division", "reading", text, "division", division), s.words.say("say division", "reading", words, "division", spoken)
	}
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

// readEye is a capture without a file, read off a screen or a stopwatch: it is
// read back as it was typed, its numbers in words, before it is recorded.
func (s *Server) readEye(m *run.Machine, p run.Prompt, r *http.Request, text string) (run.Answer, *readBack, *fault) {
	a := run.Answer{Text: text, At: s.desk.car.Now()}
	if _, err := m.Answer(p, a); err != nil {
		return a, nil, s.desk.because(err)
	}
	rb := &readBack{Text: text, Words: strings.Join(s.words.numbersIn(text), "; "), Hash: drawnHash(mark(m, p), text, "", nil)}
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
