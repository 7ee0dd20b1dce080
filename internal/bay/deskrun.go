package bay

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"net/http"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// stop records that the run was stopped and made safe. Pressed twice, it is
// recorded once. recorded is false while no key is open to sign it.
func (d *desk) stop(v Device) (recorded bool, f *fault) {
	m := d.machine()
	if m == nil || m.Broken() != nil {
		return false, nil
	}
	if madeSafe(m) {
		return true, nil
	}
	d.pressed = v.Name
	if d.operator == "" {
		return false, nil
	}
	return d.recordStop(m)
}

func (d *desk) recordStop(m *run.Machine) (bool, *fault) {
	bodies, err := m.Answer(m.Next(), run.Answer{MakeSafe: true, At: d.car.Now(), Reason: d.words.say("stop on device", "device", d.pressed)})
	if err != nil {
		return false, d.because(err)
	}
	if f := d.commit(m, bodies, d.operator, nil); f != nil {
		return false, f
	}
	d.pressed = ""
	return true, nil
}

// madeSafe reports whether the last thing recorded of the run is that it was
// made safe.
func madeSafe(m *run.Machine) bool {
	events := m.Events()
	for i := len(events) - 1; i >= 0; i-- {
		if k := events[i].Body.Kind; k != entry.Note {
			return k == entry.MakeSafe
		}
	}
	return false
}

// leave leaves the run, to be resumed.
func (d *desk) leave(v Device, drawn string) *fault {
	m, _, f := d.waiting(v, drawn)
	if f != nil {
		return f
	}
	if d.operator == "" || d.holder != v.ID {
		return d.fault(http.StatusLocked, "fault locked")
	}
	bodies, err := m.Answer(m.Next(), run.Answer{Leave: true, At: d.car.Now()})
	if err != nil {
		return d.because(err)
	}
	if f := d.commit(m, bodies, d.operator, nil); f != nil {
		return f
	}
	d.lock()
	return nil
}

// begin begins a run on a device.
func (d *desk) begin(v Device, c Choice, passphrase, abandons string) *fault {
	old := ""
	if m := d.machine(); m != nil {
		old = m.ID()
	}
	if old != abandons {
		return d.fault(http.StatusConflict, "fault abandon", "run", old)
	}
	start, why, err := d.car.Prepare(c)
	if err != nil {
		return faultOf(err)
	}
	if len(why) > 0 {
		return &fault{http.StatusConflict, strings.Join(why, "\n"), "", true}
	}
	if f := d.open(c.Operator, passphrase); f != nil {
		return f
	}
	if d.operator != "" && d.operator != c.Operator {
		d.car.Lock(d.operator)
	}
	if err := d.car.Begin(start); err != nil {
		d.car.Lock(c.Operator)
		d.operator, d.holder = "", ""
		f := faultOf(err)
		f.message = d.words.say("fault not recorded", "why", f.message)
		return f
	}
	d.holder, d.operator, d.active = v.ID, c.Operator, d.now()
	d.moved, d.idled, d.pressed = nil, false, ""
	if m := d.machine(); m != nil {
		return d.settle(m.ID())
	}
	return nil
}

// signed does something with a person's key open, for that one thing; the
// operator's stays open for the run.
func (d *desk) signed(person, passphrase string, do func() *fault) *fault {
	if person == "" {
		return d.fault(http.StatusUnprocessableEntity, "fault nobody")
	}
	if f := d.open(person, passphrase); f != nil {
		return f
	}
	if person != d.operator {
		defer d.car.Lock(person)
	}
	return do()
}

// note records a remark, with a file where there is one, signed by the
// operator.
func (d *desk) note(text string, file *upload) *fault {
	m := d.machine()
	switch {
	case m == nil:
		return d.fault(http.StatusConflict, "fault no run")
	case d.operator == "":
		return d.fault(http.StatusLocked, "fault locked")
	case strings.TrimSpace(text) == "":
		return d.fault(http.StatusUnprocessableEntity, "fault no text")
	}
	b := entry.Body{Run: m.ID(), Kind: entry.Note}
	if p := m.Next(); p.Step != nil {
		b.Path = p.Step.Path
	}
	b.Add("text", strings.TrimSpace(text))
	if file != nil {
		digest := file.Digest()
		b.Add("file", hex.EncodeToString(digest[:]))
		b.Add("name", file.name)
	}
	return d.commit(m, []entry.Body{b}, d.operator, file)
}

// drawnHash is carried by the form that records a reading: it was read back,
// as this text, with these questions, at this moment.
func drawnHash(mark, text, unitRange string, questions []string) string {
	h := sha256.New()
	for _, s := range append([]string{mark, text, unitRange}, questions...) {
		fmt.Fprintf(h, "%d:%s", len(s), s)
	}
	return hex.EncodeToString(h.Sum(nil))[:32]
}
