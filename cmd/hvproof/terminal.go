package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode/utf8"

	"golang.org/x/term"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// terminal drives a run by line prompts: the same for a terminal, a pipe and
// a screen reader. Prompts go to standard error with the talk; the end of the
// input is never an answer.
//
// Two words work at every prompt: "stop" stops and makes safe, at once and
// unasked; "leave" leaves a dead run to be resumed. "why" explains the limits.
type terminal struct {
	app   *app
	lines *bufio.Scanner
	m     *run.Machine
}

func newTerminal(a *app, m *run.Machine) *terminal {
	return &terminal{app: a, lines: a.lines(), m: m}
}

// errEnd is the end of the input.
var errEnd = errors.New("the input has ended")

// line reads one line.
func (t *terminal) line(prompt string) (string, error) {
	fmt.Fprint(t.app.err, prompt)
	if !t.lines.Scan() {
		if err := t.lines.Err(); err != nil {
			return "", diag.Bad("answers are short lines", "standard input: %v", err)
		}
		fmt.Fprintln(t.app.err)
		return "", errEnd
	}
	if !isTerminal(t.app.in) || !isTerminal(t.app.err) {
		fmt.Fprintln(t.app.err) // nobody's Enter was echoed here: what follows begins a line all the same
	}
	return strings.TrimSpace(t.lines.Text()), nil
}

// isTerminal reports whether a person sits at the other end of v.
func isTerminal(v any) bool {
	f, ok := v.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// answer shows the prompt and reads the answer.
func (t *terminal) answer(p run.Prompt) (run.Answer, error) {
	t.show(p)
	for {
		text, err := t.line("> ")
		if err == errEnd {
			return run.Answer{}, &errNoAnswer{p.Key, "the input has ended"}
		}
		if err != nil {
			return run.Answer{}, err
		}
		switch strings.ToLower(text) {
		case "stop":
			t.makeSafe()
			return run.Answer{MakeSafe: true}, nil
		case "leave":
			return run.Answer{Leave: true}, nil
		case "why":
			t.why(p)
			continue
		}
		if p.Kind != run.AskAgain {
			return run.Answer{Text: text}, nil
		}
		if a, ok := t.again(p, text); ok {
			return a, nil
		}
	}
}

// again reads what follows a failed attempt.
func (t *terminal) again(p run.Prompt, text string) (run.Answer, bool) {
	switch strings.ToLower(text) {
	case "failed":
		reason, err := t.line("what was found, in a sentence: ")
		return run.Answer{Decline: true, Reason: reason}, err == nil
	case "again":
		reason, err := t.line("why once more, in a sentence: ")
		if err != nil || reason == "" {
			t.app.sayf("a reason is wanted")
			return run.Answer{}, false
		}
		cause := ""
		if p.NeedCause {
			if cause, err = t.line("third attempt: what is thought to be the cause? "); err != nil {
				return run.Answer{}, false
			}
		}
		return run.Answer{Again: true, Reason: reason, Cause: cause}, true
	}
	t.app.sayf("type again or failed")
	return run.Answer{}, false
}

// confirm asks back: the reading is read aloud and repeated in a word, or
// given again.
func (t *terminal) confirm(p run.Prompt, a run.Answer, back *run.AskBack) (run.Answer, error) {
	for _, q := range back.Questions {
		t.app.sayf("%s", wrapped("? ", q))
	}
	t.app.sayf("%s", wrapped("understood: ", back.ReadBack+". Nothing is recorded yet."))
	what := "the reading"
	if p.Kind == run.AskCapture {
		what = "the file"
	}
	text, err := t.line("type correct, or " + what + " again> ")
	if err == errEnd {
		return a, &errNoAnswer{p.Key, "the input has ended"}
	}
	if err != nil {
		return a, err
	}
	switch strings.ToLower(text) {
	case "correct":
		a.Confirm = true
		return a, nil
	case "stop":
		t.makeSafe()
		return run.Answer{MakeSafe: true}, nil
	}
	return run.Answer{Text: text}, nil
}

func (t *terminal) refused(_ run.Prompt, _ run.Answer, r *run.Refused) error {
	t.app.sayf("%s", wrapped("not taken: ", r.Message))
	if r.Hint != "" {
		t.app.sayf("%s", wrapped("           ", r.Hint))
	}
	return nil
}

func (t *terminal) recorded(p run.Prompt, _ int64, decision string) {
	if decision != "" && p.Step != nil {
		t.app.sayf("%s: %s", p.Step.Path, strings.ToUpper(decision))
	}
}

// passphrase asks at the terminal, without echo.
func (t *terminal) passphrase(person string) ([]byte, error) { return t.app.passphrase(person) }

func (a *app) passphrase(person string) ([]byte, error) {
	in, ok := a.in.(*os.File)
	if !ok || !isTerminal(in) {
		return nil, diag.Bad("run this at a terminal; unattended runs are for practice folders", "no terminal to ask %s for a passphrase at", person)
	}
	fmt.Fprintf(a.err, "passphrase of %s: ", person)
	defer fmt.Fprintln(a.err)
	return term.ReadPassword(int(in.Fd()))
}

// lines gives the one reader of standard input; it must not be made twice,
// since it reads ahead.
func (a *app) lines() *bufio.Scanner {
	if a.input == nil {
		a.input = bufio.NewScanner(io.LimitReader(a.in, 16<<20))
		a.input.Buffer(make([]byte, 0, 4096), 64<<10)
	}
	return a.input
}

// makeSafe shows the make-safe instruction; it needs nothing but the plan in
// memory.
func (t *terminal) makeSafe() {
	t.app.sayf("")
	t.app.sayf("STOP. MAKE SAFE:")
	for i, s := range t.m.Plan().MakeSafe {
		t.app.sayf("  %d. %s", i+1, s)
	}
	t.app.sayf("Local codes, the maker's instructions and licensed people come first.")
}

// show draws a prompt: caution first, then what to do, what is expected, the
// limit, and with which meter.
func (t *terminal) show(p run.Prompt) {
	say := t.app.sayf
	say("")
	head := t.m.Plan().Title
	if p.Step != nil {
		head += fmt.Sprintf("  -  step %d of %d  -  %s", p.Number, p.Total, p.Step.Path)
	}
	say("%s", head)
	say("%s", strings.Repeat("-", min(len(head), 78)))
	switch p.Kind {
	case run.AskResume:
		for _, r := range t.m.Recent() {
			say("  last recorded: %s", r)
		}
	case run.AskCaution:
		for _, c := range p.Texts {
			say("%s", wrapped("  CAUTION: ", c.Text))
		}
	case run.AskAgain:
		decision, _, _ := strings.Cut(p.Last, ";")
		say("  last attempt: %s", strings.ToUpper(decision))
		for _, f := range p.Found {
			say("%s", wrapped("    ! ", f))
		}
	}
	if p.Step != nil && p.Kind != run.AskCaution {
		for _, c := range p.Step.Cautions {
			say("%s", wrapped("  CAUTION: ", c.Text))
		}
	}
	say("")
	say("%s", wrapped("  ", p.Text))
	for _, s := range p.State {
		say("    %s: %s", strings.ReplaceAll(s.Name, "_", " "), s.Value)
	}
	t.showReading(p)
	say("")
	or := "   (or: stop, leave, why)"
	want := wanted(p)
	if strings.Contains(want, "\n") {
		or = "\n " + or
	}
	say("  type %s%s", want, or)
}

func (t *terminal) showReading(p run.Prompt) {
	say := t.app.sayf
	if p.Kind != run.AskReading && p.Kind != run.AskCapture {
		return
	}
	for _, w := range p.Step.Windows() {
		say("    expected  %s%s", of(w), w.Bound)
	}
	for _, b := range p.Step.Limits() {
		say("    limit     %s%s   %s", of(b), b.Bound, ruleName(b))
		say("              = %s", b.Formula)
		if b.Substituted != b.Formula {
			say("              = %s", b.Substituted)
		}
	}
	if p.Meter != nil && p.Function != nil && p.Kind == run.AskCapture {
		say("    recorder  %s", p.Meter.ID)
		for _, r := range p.Step.Recorders {
			say("              %s by %s", r.Channel, t.m.Start().Instruments[r.Role])
		}
	} else if p.Meter != nil && p.Function != nil {
		say("    meter     %s, %s", p.Meter.ID, strings.ReplaceAll(p.Function.Name, "_", " "))
	}
	for _, o := range p.Outlook {
		if o.Why != "" {
			say("    note      %s", o.Why)
		}
	}
	if p.Attempt > 1 {
		say("    attempt   %d", p.Attempt)
	}
}

// of names the number of a capture that a bound is for.
func of(b plan.Bound) string {
	if b.Feature == "" {
		return ""
	}
	return b.Feature + " "
}

func ruleName(b plan.Bound) string {
	if b.Rules == "" {
		return ""
	}
	return "(" + b.Rules + ")"
}

// wanted says what may be typed.
func wanted(p run.Prompt) string {
	switch p.Kind {
	case run.AskReading:
		unit, _ := p.Step.Dim.Unit()
		if p.OnScreen {
			return "the time with the division of the screen that it was read off, such as 31.2 ms at 10 ms/div"
		}
		return "the reading with its unit, such as " + example(p.Step.Dim, unit)
	case run.AskCapture:
		return wantedCapture(p)
	case run.AskWitness:
		return strings.Join(p.Choices, " or ") + ", by " + p.Person
	case run.AskWait:
		return "how long was waited, such as 310 s"
	case run.AskState, run.AskResume:
		var parts []string
		for _, s := range p.State {
			parts = append(parts, strings.ReplaceAll(s.Name, "_", " "))
		}
		if len(parts) == 0 {
			return "the state of the car in words"
		}
		return "what they are, in this order with commas between: " + strings.Join(parts, ", ")
	case run.AskAmbient:
		return "for example: 17 °C, 62 %, dry"
	case run.AskAgain:
		return "again, or failed"
	}
	if len(p.Choices) == 0 {
		return "what you see"
	}
	return strings.Join(p.Choices, " or ")
}

func wantedCapture(p run.Prompt) string {
	name, shows := "tau", "70 ms at 20 ms/div"
	for _, b := range p.Step.Bounds {
		switch b.Dim {
		case quantity.Volt:
			name, shows = b.Feature, "10 V at 50 V/div"
		case quantity.Ampere:
			name, shows = b.Feature, "120 A at 50 A/div"
		case quantity.Second:
			name, shows = b.Feature, "70 ms at 20 ms/div"
		default:
			continue
		}
		break
	}
	if p.Function != nil && p.Function.ByHand {
		return "what the stopwatch shows, such as " + run.ByHand + " " + name + " 0.19 s"
	}
	return "the capture's file within the car folder, such as captures/ramp.csv;\n" +
		"       which column is which after semicolons: captures/ramp.csv; dc_link=CH1; pack=CH2;\n" +
		"       without a file what the screen shows, with its division: " + run.ByEye + " " + name + " " + shows
}

func example(d quantity.Dim, unit string) string {
	switch d {
	case quantity.Volt:
		return "362.4 V or OL"
	case quantity.Ohm:
		return "45.4 MΩ, 45.4 Mohm or >400 MΩ"
	}
	return "12.3 " + unit
}

// why explains the step and its limits.
func (t *terminal) why(p run.Prompt) {
	say := t.app.sayf
	if p.Step == nil {
		say("  %s", t.m.Plan().Purpose)
		return
	}
	if p.Step.Purpose != "" {
		say("  %s", p.Step.Purpose)
	}
	if p.Step.Source != "" {
		say("  source: %s", p.Step.Source)
	}
	for _, b := range p.Step.Bounds {
		note := ""
		if !b.Governs && b.Kind != quantity.Expected {
			note = " (another limit is stricter)"
		}
		say("  %s: %s%s", b.ID, b.Bound, note)
		say("    = %s", b.Formula)
		if b.Substituted != b.Formula {
			say("    = %s", b.Substituted)
		}
		if b.Source != "" {
			say("    %s %s", ruleName(b), b.Source)
		}
	}
}

// wrapped breaks a text into lines of a terminal's width, each indented as
// far as the label that the first begins with.
func wrapped(label, text string) string {
	const width = 78
	indent := strings.Repeat(" ", len(label))
	var b strings.Builder
	b.WriteString(label)
	at := len(label)
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		if i > 0 && at+1+n > width {
			b.WriteString("\n" + indent)
			at = len(indent)
		} else if i > 0 {
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
	}
	return b.String()
}
