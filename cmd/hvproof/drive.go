package main

import (
	"errors"
	"os"
	"path/filepath"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// idle is how long a prompt may stand before the key is locked and the state
// of the car comes first again.
const idle = 10 * time.Minute

// A driver answers the prompts of a run: a person at a terminal, or a file.
type driver interface {
	// answer gives the answer to a prompt. An *errNoAnswer stops the run, to
	// be resumed.
	answer(p run.Prompt) (run.Answer, error)
	// confirm is asked where an answer may be a slip; it gives the answer
	// confirmed, or another one, or an error that ends the run for now.
	confirm(p run.Prompt, a run.Answer, back *run.AskBack) (run.Answer, error)
	// refused is told of an answer that cannot be taken; nil asks again.
	refused(p run.Prompt, a run.Answer, r *run.Refused) error
	// recorded is told of each durable entry.
	recorded(p run.Prompt, index int64, note string)
	// passphrase asks a person for the passphrase of their key.
	passphrase(person string) ([]byte, error)
}

// drive takes a run from where it stands to its end, or until the driver has
// no answer: then the error is errStopped, or errNo where the run has failed
// and only its sign-out is owed.
func (s *session) drive(m *run.Machine, d driver) error {
	for {
		p := m.Next()
		if p.Kind == run.Finished {
			return nil
		}
		a, err := s.turn(m, p, d)
		if err == errLate {
			continue
		}
		if err != nil {
			return s.stopped(m, err)
		}
		if a.MakeSafe || a.Leave {
			return s.stopped(m, &errNoAnswer{p.Key, "left by the person"})
		}
	}
}

// turn asks for one answer, or first for the time that a resistor needs to
// cool.
func (s *session) turn(m *run.Machine, p run.Prompt, d driver) (run.Answer, error) {
	if ask, hot := s.cooling(m, p); hot && s.cooled != coolKey(m, p) {
		return s.cool(m, p, ask, d)
	}
	a, err := s.answered(m, p, d)
	if err != nil {
		return a, err
	}
	return s.take(m, p, a, d)
}

// answered gets an answer to a prompt; none where it came too late.
func (s *session) answered(m *run.Machine, p run.Prompt, d driver) (run.Answer, error) {
	if p.Kind == run.Automatic {
		return run.Answer{}, nil
	}
	shown := s.app.now()
	a, err := d.answer(p)
	if err == nil && s.app.now().Sub(shown) > idle && !a.MakeSafe && p.Kind != run.AskResume {
		s.app.sayf("nothing was answered for %s: the answer is not taken; the car may have changed meanwhile", idle)
		s.lock(m.Start().Operator)
		m.Interrupted()
		return run.Answer{}, errLate
	}
	return a, err
}

// errLate says that an answer came too late: the state of the car is asked for
// next.
var errLate = errors.New("the answer came too late")

// take gets one answer into the log.
func (s *session) take(m *run.Machine, p run.Prompt, a run.Answer, d driver) (run.Answer, error) {
	for {
		if p.Kind == run.AskCapture && a.File == nil && !a.MakeSafe && !a.Leave {
			if refused := s.readCapture(p, &a); refused != nil {
				return a, d.refused(p, a, refused)
			}
		}
		a.At = s.now()
		bodies, err := m.Answer(p, a)
		var back *run.AskBack
		var refused *run.Refused
		switch {
		case errors.As(err, &back):
			if a, err = d.confirm(p, a, back); err != nil {
				return a, err
			}
			continue
		case errors.As(err, &refused):
			return a, d.refused(p, a, refused)
		case err != nil:
			return a, err
		}
		if err := s.unlockFor(p, d); err != nil {
			return a, err
		}
		for _, body := range bodies {
			if body.Kind == entry.Capture { // the blob first: an entry never names what is not there
				if _, err := s.store.PutBlob(s.ctx, a.File); err != nil {
					return a, err
				}
			}
			e, err := s.commit(body, p.Person)
			if err != nil {
				return a, err
			}
			name := e.Path
			if name == "" {
				name = string(e.Kind)
			}
			s.app.sayf("recorded %s %d", name, e.Index)
			d.recorded(p, e.Index, body.Text("decision"))
		}
		if p.Role != people.Operator {
			s.lock(p.Person) // a witness or releaser unlocks for one signature
		}
		return a, nil
	}
}

// largestCapture is the most bytes of a file that a log takes in.
const largestCapture = 1 << 30

// readCapture reads the file that an answer names, relative to the car folder.
func (s *session) readCapture(p run.Prompt, a *run.Answer) *run.Refused {
	name, isFile := run.CaptureFile(a.Text)
	if !isFile {
		return nil
	}
	path := filepath.FromSlash(name)
	if !filepath.IsAbs(path) {
		path = filepath.Join(s.root, path)
	}
	info, err := os.Stat(path)
	switch {
	case err != nil && isReading(name):
		return &run.Refused{Key: p.Key, Message: name + " is a number, and this step wants a file",
			Hint: "attach the file; or was it read off the screen? Then say so, with the division: " + run.ByEye + " NAME VALUE at DIVISION/div"}
	case err != nil:
		return &run.Refused{Key: p.Key, Message: name + " is not there", Hint: "name a file within the car folder, such as captures/ramp.csv"}
	case info.IsDir():
		return &run.Refused{Key: p.Key, Message: name + " is a folder", Hint: "name a file in it"}
	case !info.Mode().IsRegular() || info.Size() > largestCapture:
		return &run.Refused{Key: p.Key, Message: name + " is not a file of at most 1 GB", Hint: "cut the recording down to the event"}
	}
	if a.File, err = os.ReadFile(path); err != nil {
		return &run.Refused{Key: p.Key, Message: err.Error()}
	}
	return nil
}

// isReading reports whether a text is a quantity as it is read off a meter.
func isReading(text string) bool {
	_, err := quantity.Parse(text)
	return err == nil
}

func (s *session) unlockFor(p run.Prompt, d driver) error { return s.unlock(p.Person, d.passphrase) }

// stopped says how a run stands that did not reach its end.
func (s *session) stopped(m *run.Machine, err error) error {
	var none *errNoAnswer
	if !errors.As(err, &none) {
		s.app.sayf("run %s is stopped; what was recorded is kept, go on with: hvproof resume %s", m.ID(), m.ID())
		return err
	}
	if m.Outcome() == run.Failed {
		s.app.sayf("run %s failed, and is NOT CLOSED: its sign-out is owed (%s)", m.ID(), none.Error())
		s.app.sayf("close it with: hvproof resume %s", m.ID())
		return errNo
	}
	s.app.sayf("run %s is stopped at %s", m.ID(), none.Error())
	s.app.sayf("go on with: hvproof resume %s", m.ID())
	return errStopped
}

// verdict gives the error of a run that has ended.
func verdict(m *run.Machine) error {
	switch m.Outcome() {
	case run.Passed:
		return nil
	case run.Open:
		return errStopped
	}
	return errNo
}
