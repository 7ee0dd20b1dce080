package bay

import (
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"hvproof/internal/entry"
	"hvproof/internal/people"
	"hvproof/internal/run"
)

// idleAfter is how long nothing may be answered before the operator's key is
// locked and the state of the car comes first again.
const idleAfter = 10 * time.Minute

// A fault is why something was not done. It is shown, and nothing was
// recorded, unless it says so.
type fault struct {
	status        int
	message, hint string
	english       bool // the program's own words, not the wording's
}

// desk is where devices and people meet one car: who answers, whose key is
// open, what was pressed and could not be recorded yet. Its methods are called
// with mu held.
type desk struct {
	mu      sync.Mutex
	car     Car
	words   *Wording
	devices *devices
	now     func() time.Time
	wrong   *limit

	holder   string     // the device that answers
	operator string     // whose key is open for the run
	active   time.Time  // when something was last done on the holder
	moved    *move      // the last taking over
	idled    bool       // the key was locked because nothing happened
	pressed  string     // name of the device on which stop was pressed, not recorded yet
	cooled   string     // mark of the attempt before which a resistor was let cool
	asked    run.Prompt // that it be let cool, as last drawn
}

// A move is a run taken over by another device.
type move struct {
	from, to string
	at       time.Time
}

func (d *desk) fault(status int, name string, pairs ...any) *fault {
	return &fault{status: status, message: d.words.say(name, pairs...), hint: d.words.maybe(name+" hint", "")}
}

// because words an error of below the page.
func (d *desk) because(err error) *fault {
	var refused *run.Refused
	if errors.As(err, &refused) {
		return &fault{http.StatusUnprocessableEntity, refused.Message, refused.Hint, true}
	}
	return faultOf(err)
}

// machine gives the run that is open, nil if none is.
func (d *desk) machine() *run.Machine { return d.car.History().Open() }

// again gives the run as the log has it now, which may be another Machine
// after an error.
func (d *desk) again(id string) *run.Machine { return d.car.History().Run(id) }

// sweep locks the operator's key when nothing was done for too long.
func (d *desk) sweep() bool {
	if d.operator == "" {
		return false
	}
	m, patience := d.machine(), idleAfter
	if m != nil {
		if p := d.next(m); p.Kind == run.AskWait {
			patience += p.Need
		}
	}
	if d.now().Sub(d.active) <= patience {
		return false
	}
	d.lock()
	d.idled = true
	if m != nil {
		m.Interrupted()
	}
	return true
}

// lock forgets the operator's key; nobody answers then.
func (d *desk) lock() {
	if d.operator != "" {
		d.car.Lock(d.operator)
	}
	d.operator, d.holder = "", ""
}

// open asks a passphrase of a person, a few wrong ones a minute.
func (d *desk) open(person, passphrase string) *fault {
	if wait := d.wrong.wait(person); wait > 0 {
		return d.fault(http.StatusTooManyRequests, "fault too many", "person", person, "seconds", int(wait.Seconds())+1)
	}
	if err := d.car.Unlock(person, []byte(passphrase)); err != nil {
		d.wrong.failed(person)
		f := faultOf(err)
		if f.status < http.StatusInternalServerError {
			f.status = http.StatusForbidden
		}
		return f
	}
	d.wrong.passed(person)
	return nil
}

// unlock makes a device the one that answers, if its person is the operator.
func (d *desk) unlock(v Device, person, passphrase string) *fault {
	m := d.machine()
	switch {
	case m == nil:
		return d.fault(http.StatusConflict, "fault no run")
	case person == "":
		return d.fault(http.StatusUnprocessableEntity, "fault nobody")
	case person != m.Start().Operator:
		return d.fault(http.StatusForbidden, "fault not operator", "person", person, "operator", m.Start().Operator)
	}
	before, operated := d.holder, d.operator != ""
	if f := d.open(person, passphrase); f != nil {
		return f
	}
	if operated && before != v.ID {
		d.moved = &move{from: before, to: v.ID, at: d.now()}
	}
	d.holder, d.operator, d.active, d.idled = v.ID, person, d.now(), false
	if d.pressed != "" {
		if _, f := d.recordStop(m); f != nil {
			return f
		}
	}
	return d.settle(m.ID())
}

// mark names the moment that a page was drawn at: the run's last entry and
// what is asked. Notes change nothing of a run, and not the mark.
func mark(m *run.Machine, p run.Prompt) string {
	last := int64(0)
	for _, e := range m.Events() {
		if e.Body.Kind != entry.Note {
			last = e.Index
		}
	}
	return fmt.Sprintf("%s %d %s %s %d", m.ID(), last, p.Kind, p.Key, p.Attempt)
}

// next gives what the run waits for: before a step that heats a resistor which
// is still hot, the time that it needs to cool.
func (d *desk) next(m *run.Machine) run.Prompt {
	p := m.Next()
	if ask, hot := d.car.Cooling(m, p); hot && d.cooled != mark(m, p) {
		d.asked = ask
		return ask
	}
	return p
}

// coldBy reports whether a page asked for a wait that has passed since, with
// nothing else between: who waited as long as was asked is not too late.
func (d *desk) coldBy(m *run.Machine, drawn string) bool {
	return d.asked.Step != nil && drawn == mark(m, d.asked) && d.cooled != mark(m, m.Next())
}

// cool takes the answer that a resistor was let cool; nothing is recorded.
func (d *desk) cool(v Device, m *run.Machine, p run.Prompt, text string) *fault {
	d.touch(v)
	if _, hot := d.car.Cooling(m, m.Next()); hot {
		if refused := d.car.Waited(m, p, text); refused != nil {
			return d.because(refused)
		}
	}
	d.cooled = mark(m, m.Next())
	return nil
}

// waiting checks that the run waits for what a form answers, and that this
// device may answer it.
func (d *desk) waiting(v Device, drawn string) (*run.Machine, run.Prompt, *fault) {
	m := d.machine()
	if m == nil {
		return nil, run.Prompt{}, d.fault(http.StatusConflict, "fault no run")
	}
	if err := m.Broken(); err != nil {
		return nil, run.Prompt{}, &fault{http.StatusConflict, err.Error(), "", true}
	}
	p := d.next(m)
	switch {
	case drawn == mark(m, p):
	case d.coldBy(m, drawn):
		p = d.asked
	default:
		return nil, p, d.fault(http.StatusConflict, "fault late")
	}
	if p.Role != people.Operator {
		return m, p, nil // that person signs on any device
	}
	switch {
	case d.operator == "":
		return nil, p, d.fault(http.StatusLocked, "fault locked")
	case d.holder != v.ID:
		return nil, p, d.fault(http.StatusLocked, "fault follower", "device", d.devices.name(d.holder))
	}
	return m, p, nil
}

// A signature is who signs for one answer, where that is not the operator.
type signature struct{ person, passphrase string }

// answer gives the machine an answer and records what it proposes.
func (d *desk) answer(v Device, m *run.Machine, p run.Prompt, a run.Answer, file *upload, by signature) *fault {
	if p.Step != nil && p.Key == p.Step.Path+":cool" {
		return d.cool(v, m, p, a.Text)
	}
	a.At = d.car.Now()
	bodies, err := m.Answer(p, a)
	if err != nil {
		d.touch(v)
		return d.because(err)
	}
	if p.Role != people.Operator {
		switch {
		case by.person == "":
			return d.fault(http.StatusUnprocessableEntity, "fault nobody")
		case by.person != p.Person:
			return d.fault(http.StatusForbidden, "fault other person", "person", p.Person)
		}
		if f := d.open(by.person, by.passphrase); f != nil {
			return f
		}
		defer d.car.Lock(by.person) // one signature
	}
	if f := d.commit(m, bodies, p.Person, file); f != nil {
		return f
	}
	d.touch(v)
	return d.settle(m.ID())
}

func (d *desk) touch(v Device) {
	if v.ID == d.holder {
		d.active = d.now()
	}
}

// commit signs and stores entries one after the other, the file that they name
// before them. After an error the
// history is what the log says, and the state of the car comes first.
func (d *desk) commit(m *run.Machine, bodies []entry.Body, person string, file *upload) *fault {
	if file != nil {
		if err := file.Keep(); err != nil {
			return faultOf(err)
		}
	}
	for _, b := range bodies {
		if _, err := d.car.Commit(b, person); err != nil {
			if m := d.again(m.ID()); m != nil {
				m.Interrupted()
			}
			f := faultOf(err)
			f.status = http.StatusInternalServerError
			f.message = d.words.say("fault not recorded", "why", f.message)
			return f
		}
	}
	return nil
}

// settle records what needs no answer, and ends the operator's unlocking with
// the run.
func (d *desk) settle(id string) *fault {
	for {
		m := d.again(id)
		if m == nil || m.Broken() != nil {
			return nil
		}
		p := m.Next()
		switch {
		case p.Kind == run.Finished:
			d.lock()
			d.moved, d.pressed = nil, ""
			return nil
		case p.Kind != run.Automatic || d.operator != p.Person:
			return nil
		}
		bodies, err := m.Answer(p, run.Answer{At: d.car.Now()})
		if err != nil {
			return d.because(err)
		}
		if f := d.commit(m, bodies, p.Person, nil); f != nil {
			return f
		}
	}
}
