package bay

import (
	"fmt"
	"net/http"

	"hvproof/internal/entry"
	"hvproof/internal/run"
)

// A page is what every page has: where the run stands, who answers, how to
// make safe.
type page struct {
	Name, Title  string // which page it is, and its heading
	Token        string
	Version      string
	Car          string
	Practice     bool
	Run          string // id of the open run, "" without
	RunTitle     string
	Rehearsal    bool
	Live         bool
	MakeSafe     []string
	Device       string
	Unlocked     string // whose key is open
	Mine         bool   // this device answers
	Holder       string // name of the device that answers
	Mark         string // names the moment; a form carries it
	Around       string // what else the page was drawn from; the script keeps what was typed while both stand
	Fault        *fault
	Said         string
	LAN          bool
	OfflineAfter int // seconds without a heartbeat
}

// Message and Hint are for the templates.
func (f *fault) Message() string { return f.message }

// English reports whether the words are the program's own.
func (f *fault) English() bool { return f.english }

// Hint says what would be right.
func (f *fault) Hint() string { return f.hint }

// base gives the parts of a page that are the same on all. It is called with
// the desk held.
func (c *call) base(name, title string) page {
	d := c.s.desk
	version, _ := c.s.changes.version()
	p := page{Name: name, Title: title, Token: c.token, Version: version, Practice: d.car.Practice(),
		Device: c.device.Name, LAN: c.s.opt.LAN, OfflineAfter: int(4 * heartbeat.Seconds()), Unlocked: d.operator}
	if folder, err := d.car.Folder(); err == nil {
		p.Car = folder.Vehicle.Name()
	}
	p.MakeSafe = []string{c.s.words.say("make safe 1"), c.s.words.say("make safe 2"), c.s.words.say("make safe 3")}
	if m := d.machine(); m != nil {
		p.Run, p.RunTitle, p.Rehearsal, p.Live = m.ID(), m.Plan().Title, m.Start().Rehearsal, m.Plan().Live
		if len(m.Plan().MakeSafe) > 0 {
			p.MakeSafe = m.Plan().MakeSafe
		}
	}
	if d.operator != "" {
		p.Mine, p.Holder = d.holder == c.device.ID, d.devices.name(d.holder)
	}
	p.Mark = name
	p.Around = fmt.Sprintln(p.Run, p.Mine, p.Unlocked, p.Holder, d.pressed, d.idled, d.moved != nil)
	return p
}

// draw renders and sends a page.
func (c *call) draw(status int, name string, data any) {
	b, err := c.s.render(name, data)
	if err != nil {
		http.Error(c.w, err.Error(), http.StatusInternalServerError)
		return
	}
	c.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	c.w.WriteHeader(status)
	_, _ = c.w.Write(b)
}

// failPage is a page of its own for what has none to stand on.
func (c *call) failPage(f *fault) {
	c.s.desk.mu.Lock()
	p := c.base("fail", c.s.words.say("title fail"))
	c.s.desk.mu.Unlock()
	p.Fault = f
	c.draw(f.status, "fail", p)
}

// see sends the browser on after something was done.
func (c *call) see(where string) {
	http.Redirect(c.w, c.r, where, http.StatusSeeOther)
}

// hold takes the desk, locks an idle key first, and gives it back.
func (c *call) hold() func() {
	c.s.desk.mu.Lock()
	if c.s.desk.sweep() {
		c.s.changes.happened()
	}
	return c.s.desk.mu.Unlock
}

// An attempt is one recorded answer as the page shows it.
type attempt struct {
	Number   int
	Path     string
	Said     string
	Decision string
	Bad      bool
	Findings []string
	Index    int64
	When     string
	Signer   string
	Witness  string
	Reason   string
	Wave     string // address of its drawing
	Trace    string // of the page that looks at it closely
	After    string // what was said after it, before the next
}

func attemptOf(s run.StepResult, i int) attempt {
	a := &s.Attempts[i]
	wave, trace := "", ""
	if a.Body.Kind == entry.Capture {
		at := fmt.Sprintf("/%s/%d", a.Body.Run, a.Index)
		wave, trace = "/waveform"+at, "/trace"+at
	}
	return attempt{Wave: wave, Trace: trace, Number: i + 1, Path: s.Step.Path, Said: a.Said(s.Step), Decision: a.Decision, Bad: isBad(a.Decision),
		Findings: a.Findings, Index: a.Index, When: a.Time.UTC().Format("15:04:05"), Signer: a.Signer, Witness: a.Witness, Reason: a.Body.Text("reason")}
}

// isBad reports whether a decision is none that a step can rest on.
func isBad(decision string) bool {
	switch decision {
	case run.Fail, run.ConditionalFail, run.CannotDecide:
		return true
	}
	return false
}
