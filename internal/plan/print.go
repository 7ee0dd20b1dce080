package plan

import (
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// The first and the last line.
const (
	firstLine = "hvproof plan 1"
	lastLine  = "end"
)

// Marshal gives the plan's text. The error names what in the plan cannot be
// printed or does not fit together; see [Plan.Check].
func Marshal(p *Plan) ([]byte, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	var w printer
	w.plan(p)
	if w.err != nil {
		return nil, fmt.Errorf("plan: %w", w.err)
	}
	return []byte(w.String()), nil
}

type printer struct {
	strings.Builder
	err error
}

func (w *printer) line(name string, values ...string) {
	w.WriteString(name)
	w.WriteByte(':')
	for _, v := range values {
		text, err := entry.Escape(v)
		if err != nil && w.err == nil {
			w.err = fmt.Errorf("%s: %w", name, err)
		}
		w.WriteByte(' ')
		w.WriteString(text)
	}
	w.WriteByte('\n')
}

func (w *printer) text(name, value string) {
	if value != "" {
		w.line(name, value)
	}
}

func (w *printer) yes(name string, value bool) {
	if value {
		w.line(name, "yes")
	}
}

// number leaves a zero out.
func (w *printer) number(name string, x float64) {
	if x != 0 {
		w.line(name, entry.FormatNumber(x))
	}
}

func (w *printer) testRange(t TestRange) {
	w.number("test voltage at least", t.MinTestVoltage)
	w.number("test current at least", t.MinTestCurrent)
	w.number("test current at most", t.MaxTestCurrent)
}

func (w *printer) list(name string, values []string) {
	for _, v := range values {
		w.line(name, v)
	}
}

func (w *printer) texts(name string, values []Text) {
	for _, v := range values {
		w.line(name, v.ID, v.Text)
	}
}

func (w *printer) plan(p *Plan) {
	w.WriteString(firstLine + "\n")
	w.line("car", p.Car)
	w.line("procedure", p.Procedure)
	w.line("title", p.Title)
	w.line("stage", p.Stage)
	w.text("purpose", p.Purpose)
	w.yes("live", p.Live)
	w.yes("practice", p.Practice)
	w.text("not applicable", p.NotApplicable)
	for _, v := range p.Proves {
		w.line("proof", strconv.Itoa(v.HoldsDays), v.ID)
		w.list("part", v.Parts)
	}
	w.list("prerequisite", p.Prerequisites)
	w.line("people", strconv.Itoa(p.People))
	w.texts("protective", p.Protective)
	w.texts("caution", p.Cautions)
	w.list("make safe", p.MakeSafe)
	w.yes("ambient", p.Ambient)
	w.list("retest", p.Retest)
	w.number("car voltage", p.CarVoltage)
	for _, f := range p.Files {
		w.line("file", f.Origin, f.Digest, f.Name)
	}
	w.line("sign out", strconv.Itoa(p.SignOut))
	for i := range p.Steps {
		w.step(&p.Steps[i])
	}
	w.WriteString(lastLine + "\n")
}

func (w *printer) step(s *Step) {
	w.line("step", s.Path)
	w.line("kind", s.Kind)
	w.line("text", s.Text)
	w.text("purpose", s.Purpose)
	w.text("source", s.Source)
	w.text("not applicable", s.NotApplicable)
	w.list("item", s.Items)
	w.list("part", s.Parts)
	w.texts("caution", s.Cautions)
	for _, v := range s.State {
		w.line("state", v.Name, v.Value)
	}
	w.yes("witness", s.Witness)
	w.text("hold", s.Hold)
	w.line("if failed", s.IfFailed)
	w.yes("conditional pass", s.ConditionalPass)
	w.text("expect", s.Expect)
	w.list("choice", s.Choices)
	if hasDimension(s.Kind) {
		w.line("dimension", dimension(s.Dim))
	}
	w.text("role", s.Role)
	w.text("method", s.Method)
	w.text("stimulus", s.Stimulus)
	w.testRange(s.TestRange)
	w.text("lead check", s.LeadCheck)
	w.text("unfit meter", s.UnfitMeter)
	for _, h := range s.Heats {
		w.line("heat", h.Part, entry.FormatNumber(h.Joules), entry.FormatNumber(h.Pulse), entry.FormatNumber(h.Watts))
	}
	w.number("seconds", s.Seconds)
	w.text("function", s.Function)
	for _, a := range s.From {
		w.argument(a)
	}
	for _, c := range s.Channels {
		w.line("channel", c.Role, c.Column)
	}
	for _, c := range s.Signals {
		w.signal(c)
	}
	for _, c := range s.Recorders {
		w.line("recorder", c.Channel, c.Role)
	}
	for _, b := range s.Bounds {
		w.bound(b)
	}
}

func (w *printer) argument(a Arg) {
	switch {
	case a.Step != "":
		w.line("argument", a.Name, "step", a.Step)
	case a.Text != "":
		w.line("argument", a.Name, "text", a.Text)
	default:
		w.line("argument", a.Name, "value", entry.FormatNumber(a.Lo), entry.FormatNumber(a.Nominal),
			entry.FormatNumber(a.Hi), dimension(a.Dim))
		w.explanation(a.Formula, a.Substituted, a.Exactness, a.Inputs)
	}
}

func (w *printer) bound(b Bound) {
	w.line("bound", boundWord(b.Kind), b.ID)
	w.text("feature", b.Feature)
	low, high := ends(b.Kind)
	if low {
		w.line("low", entry.FormatNumber(b.Low))
	}
	if high {
		w.line("high", entry.FormatNumber(b.High))
	}
	w.line("dimension", dimension(b.Dim))
	w.explanation(b.Formula, b.Substituted, b.Exactness, b.Inputs)
	w.text("rules", b.Rules)
	w.text("source", b.Source)
	w.text("method", b.Method)
	w.text("stimulus", b.Stimulus)
	w.testRange(b.TestRange)
	w.line("rule", ruleWord(b.Rule))
	w.yes("governs", b.Governs)
}

func (w *printer) explanation(formula, substituted, exactness string, inputs []Input) {
	w.text("formula", formula)
	w.text("substituted", substituted)
	w.text("exactness", exactness)
	for _, in := range inputs {
		w.line("input", entry.FormatNumber(in.Lo), entry.FormatNumber(in.Hi), dimension(in.Dim), in.Name)
	}
}

// hasDimension reports whether steps of the kind give a number.
func hasDimension(kind string) bool {
	return kind == Measure || kind == Time || kind == Compute
}

// ends tells which ends a bound of the kind has.
func ends(k quantity.BoundKind) (low, high bool) {
	switch k {
	case quantity.AtLeast:
		return true, false
	case quantity.AtMost, quantity.MagnitudeAtMost:
		return false, true
	case quantity.Between, quantity.Expected:
		return true, true
	}
	return false, false
}

// The words of the text, which stay when the packages they come from
// change theirs. An unknown one gives "".

func boundWord(k quantity.BoundKind) string {
	switch k {
	case quantity.AtLeast:
		return "at_least"
	case quantity.AtMost:
		return "at_most"
	case quantity.MagnitudeAtMost:
		return "magnitude_at_most"
	case quantity.Between:
		return "between"
	case quantity.Expected:
		return "expected"
	}
	return ""
}

func ruleWord(r measure.Rule) string {
	switch r {
	case measure.GuardBand:
		return "guard_band"
	case measure.SimpleAcceptance:
		return "simple_acceptance"
	}
	return ""
}
