package plan

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
)

// MaxSize is the longest text that Parse reads, in bytes.
const MaxSize = 32 << 20

// Parse reads the text of a plan. It accepts only the text that Marshal
// would have printed; the error names the line.
func Parse(text []byte) (*Plan, error) {
	if len(text) > MaxSize {
		return nil, fmt.Errorf("plan: %d bytes, more than the %d that a plan may have", len(text), MaxSize)
	}
	r := reader{rest: string(text)}
	r.next()
	p := r.plan()
	if r.err != nil {
		return nil, fmt.Errorf("plan: line %d: %w", r.line, r.err)
	}
	again, err := Marshal(p)
	if err != nil {
		return nil, err
	}
	if !bytes.Equal(again, text) {
		n := 1 + bytes.Count(again[:commonPrefix(again, text)], []byte("\n"))
		return nil, fmt.Errorf("plan: line %d: not as a plan is printed", n)
	}
	return p, nil
}

func commonPrefix(a, b []byte) int {
	n := min(len(a), len(b))
	for i := range n {
		if a[i] != b[i] {
			return i
		}
	}
	return n
}

// reader takes lines in the order of the format. After the first fault it
// takes nothing more, so that every loop over repeated lines ends.
type reader struct {
	rest        string
	line        int
	name, value string // the line at hand; name is "" at the end of the text
	err         error
}

// next goes to the next line.
func (r *reader) next() {
	r.name, r.value = "", ""
	if r.rest == "" {
		r.line++
		return
	}
	r.line++
	line, rest, ok := strings.Cut(r.rest, "\n")
	if !ok {
		r.failf("the line does not end in a line feed")
		return
	}
	r.rest = rest
	name, value, ok := strings.Cut(line, ": ")
	if !ok {
		r.name = line // "hvproof plan 1", "end"
		return
	}
	r.name, r.value = name, value
}

func (r *reader) failf(format string, a ...any) {
	if r.err == nil {
		r.err = fmt.Errorf(format, a...)
	}
	r.name = ""
}

// more reports whether the line at hand has the name.
func (r *reader) more(name string) bool { return r.err == nil && r.name == name }

// must takes the value of a line that has to be there, still escaped.
func (r *reader) must(name string) string {
	if r.err != nil {
		return ""
	}
	if r.name != name {
		r.failf("%q found, %q wanted", r.name, name)
		return ""
	}
	v := r.value
	r.next()
	return v
}

func (r *reader) unescape(s string) string {
	if r.err != nil {
		return ""
	}
	t, err := entry.Unescape(s)
	if err != nil {
		r.failf("%w", err)
	}
	return t
}

func (r *reader) mustText(name string) string { return r.unescape(r.must(name)) }

func (r *reader) text(name string) string {
	if !r.more(name) {
		return ""
	}
	return r.mustText(name)
}

func (r *reader) yes(name string) bool { return r.more(name) && r.must(name) == "yes" }

func (r *reader) list(name string) []string {
	var out []string
	for r.more(name) {
		out = append(out, r.mustText(name))
	}
	return out
}

// fields takes a line of n values of which only the last may hold spaces.
func (r *reader) fields(name string, n int) []string {
	f := strings.SplitN(r.must(name), " ", n)
	if r.err == nil && len(f) < n {
		r.failf("%s has %d values, %d wanted", name, len(f), n)
	}
	out := make([]string, n)
	if r.err == nil {
		for i, v := range f {
			out[i] = r.unescape(v)
		}
	}
	return out
}

func (r *reader) texts(name string) []Text {
	var out []Text
	for r.more(name) {
		f := r.fields(name, 2)
		out = append(out, Text{ID: f[0], Text: f[1]})
	}
	return out
}

func (r *reader) number(s string) float64 {
	if r.err != nil {
		return 0
	}
	x, err := entry.ParseNumber(s)
	if err != nil {
		r.failf("%w", err)
	}
	return x
}

// numberIf takes a number that is left out where it is zero.
func (r *reader) numberIf(name string) float64 {
	if !r.more(name) {
		return 0
	}
	return r.number(r.must(name))
}

func (r *reader) testRange() TestRange {
	return TestRange{
		MinTestVoltage: r.numberIf("test voltage at least"),
		MinTestCurrent: r.numberIf("test current at least"),
		MaxTestCurrent: r.numberIf("test current at most"),
	}
}

func (r *reader) count(s string) int {
	if r.err != nil {
		return 0
	}
	n, err := strconv.Atoi(s)
	if err != nil {
		r.failf("%q is not a count", s)
	}
	return n
}

func (r *reader) dim(s string) quantity.Dim {
	if r.err != nil {
		return quantity.Dim{}
	}
	d, err := parseDimension(s)
	if err != nil {
		r.failf("%w", err)
	}
	return d
}

func (r *reader) plan() *Plan {
	p := new(Plan)
	r.must(firstLine)
	p.Car = r.mustText("car")
	p.Procedure = r.mustText("procedure")
	p.Title = r.mustText("title")
	p.Stage = r.mustText("stage")
	p.Purpose = r.text("purpose")
	p.Live = r.yes("live")
	p.Practice = r.yes("practice")
	p.NotApplicable = r.text("not applicable")
	for r.more("proof") {
		f := r.fields("proof", 2)
		p.Proves = append(p.Proves, Proof{HoldsDays: r.count(f[0]), ID: f[1], Parts: r.list("part")})
	}
	p.Prerequisites = r.list("prerequisite")
	p.People = r.count(r.must("people"))
	p.Protective = r.texts("protective")
	p.Cautions = r.texts("caution")
	p.MakeSafe = r.list("make safe")
	p.Ambient = r.yes("ambient")
	p.Retest = r.list("retest")
	p.CarVoltage = r.numberIf("car voltage")
	for r.more("file") {
		f := r.fields("file", 3)
		p.Files = append(p.Files, File{Origin: f[0], Digest: f[1], Name: f[2]})
	}
	p.SignOut = r.count(r.must("sign out"))
	for r.more("step") {
		p.Steps = append(p.Steps, r.step())
	}
	r.must(lastLine)
	if r.err == nil && r.name != "" {
		r.failf("%q after the end", r.name)
	}
	return p
}

func (r *reader) step() Step {
	var s Step
	s.Path = r.mustText("step")
	s.Kind = r.mustText("kind")
	s.Text = r.mustText("text")
	s.Purpose = r.text("purpose")
	s.Source = r.text("source")
	s.NotApplicable = r.text("not applicable")
	s.Items = r.list("item")
	s.Parts = r.list("part")
	s.Cautions = r.texts("caution")
	for r.more("state") {
		f := r.fields("state", 2)
		s.State = append(s.State, State{Name: f[0], Value: f[1]})
	}
	s.Witness = r.yes("witness")
	s.Hold = r.text("hold")
	s.IfFailed = r.mustText("if failed")
	s.ConditionalPass = r.yes("conditional pass")
	s.Expect = r.text("expect")
	s.Choices = r.list("choice")
	if hasDimension(s.Kind) {
		s.Dim = r.dim(r.must("dimension"))
	}
	s.Role = r.text("role")
	s.Method = r.text("method")
	s.Stimulus = r.text("stimulus")
	s.TestRange = r.testRange()
	s.LeadCheck = r.text("lead check")
	s.UnfitMeter = r.text("unfit meter")
	for r.more("heat") {
		f := r.fields("heat", 4)
		s.Heats = append(s.Heats, Heat{Part: f[0], Joules: r.number(f[1]), Pulse: r.number(f[2]), Watts: r.number(f[3])})
	}
	s.Seconds = r.numberIf("seconds")
	s.Function = r.text("function")
	for r.more("argument") {
		s.From = append(s.From, r.argument())
	}
	for r.more("channel") {
		f := r.fields("channel", 2)
		s.Channels = append(s.Channels, Channel{Role: f[0], Column: f[1]})
	}
	for r.more("signal") {
		s.Signals = append(s.Signals, r.signal())
	}
	for r.more("recorder") {
		f := r.fields("recorder", 2)
		s.Recorders = append(s.Recorders, Recorder{Channel: f[0], Role: f[1]})
	}
	for r.more("bound") {
		s.Bounds = append(s.Bounds, r.bound())
	}
	return s
}

func (r *reader) argument() Arg {
	f := r.fields("argument", 3)
	a := Arg{Name: f[0]}
	switch f[1] {
	case "step":
		a.Step = f[2]
	case "text":
		a.Text = f[2]
	case "value":
		v := strings.Split(f[2], " ")
		if len(v) != 4 {
			r.failf("argument %s has %d values, 4 wanted", a.Name, len(v))
			return a
		}
		a.Lo, a.Nominal, a.Hi, a.Dim = r.number(v[0]), r.number(v[1]), r.number(v[2]), r.dim(v[3])
		a.Formula, a.Substituted, a.Exactness, a.Inputs = r.explanation()
	default:
		r.failf("argument %q: neither step nor text nor value", f[1])
	}
	return a
}

func (r *reader) bound() Bound {
	f := r.fields("bound", 2)
	b := Bound{ID: f[1]}
	kind, ok := boundKind(f[0])
	if !ok {
		r.failf("%q is not a kind of bound", f[0])
		return b
	}
	b.Kind = kind
	b.Feature = r.text("feature")
	low, high := ends(kind)
	if low {
		b.Low = r.number(r.must("low"))
	}
	if high {
		b.High = r.number(r.must("high"))
	}
	b.Dim = r.dim(r.must("dimension"))
	b.Formula, b.Substituted, b.Exactness, b.Inputs = r.explanation()
	b.Rules = r.text("rules")
	b.Source = r.text("source")
	b.Method = r.text("method")
	b.Stimulus = r.text("stimulus")
	b.TestRange = r.testRange()
	word := r.must("rule")
	for _, rule := range []measure.Rule{measure.GuardBand, measure.SimpleAcceptance} {
		if ruleWord(rule) == word {
			b.Rule = rule
			b.Governs = r.yes("governs")
			return b
		}
	}
	r.failf("%q is not a decision rule", word)
	return b
}

func (r *reader) explanation() (formula, substituted, exactness string, inputs []Input) {
	formula = r.text("formula")
	substituted = r.text("substituted")
	exactness = r.text("exactness")
	for r.more("input") {
		f := r.fields("input", 4)
		inputs = append(inputs, Input{Lo: r.number(f[0]), Hi: r.number(f[1]), Dim: r.dim(f[2]), Name: f[3]})
	}
	return formula, substituted, exactness, inputs
}

func boundKind(word string) (quantity.BoundKind, bool) {
	for _, k := range []quantity.BoundKind{
		quantity.AtLeast, quantity.AtMost, quantity.Between, quantity.MagnitudeAtMost, quantity.Expected,
	} {
		if boundWord(k) == word {
			return k, true
		}
	}
	return 0, false
}
