package plan

import (
	"encoding/hex"
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"hvproof/internal/quantity"
)

// MaxSteps is the most steps that a plan may have.
const MaxSteps = 5000

// Check reports what in the plan cannot be printed or does not fit together:
// an unknown word, an empty or doubled path, a sign-out beyond the last step,
// an argument from a step that is not an earlier one, a number that is not
// finite, a bound of another dimension than its step. It does not ask whether
// the plan is wise.
func (p *Plan) Check() error {
	if err := p.check(); err != nil {
		return fmt.Errorf("plan: %w", err)
	}
	return nil
}

func (p *Plan) check() error {
	if err := need("car", p.Car, "title", p.Title); err != nil {
		return err
	}
	if err := word("procedure", p.Procedure); err != nil {
		return err
	}
	if err := oneOf("stage", p.Stage, "A", "B", "C", "D", "E"); err != nil {
		return err
	}
	if err := utf8Only(append([]string{p.Purpose, p.NotApplicable}, p.MakeSafe...)...); err != nil {
		return err
	}
	for _, v := range p.Proves {
		if err := word("proof", v.ID); err != nil {
			return err
		}
		if len(v.Parts) == 0 || v.HoldsDays < 0 {
			return fmt.Errorf("proof %s: no part, or a negative number of days", v.ID)
		}
		if err := words("part", v.Parts); err != nil {
			return err
		}
	}
	if err := words("prerequisite", p.Prerequisites); err != nil {
		return err
	}
	if slices.Contains(p.MakeSafe, "") {
		return fmt.Errorf("an empty make-safe action")
	}
	if err := texts(p.Protective, p.Cautions); err != nil {
		return err
	}
	if p.People < 1 {
		return fmt.Errorf("people: %d, at least 1 wanted", p.People)
	}
	if err := finite("car voltage", p.CarVoltage); err != nil {
		return err
	}
	if err := p.checkRetest(); err != nil {
		return err
	}
	for _, f := range p.Files {
		if err := f.check(); err != nil {
			return err
		}
	}
	if len(p.Steps) > MaxSteps {
		return fmt.Errorf("%d steps, at most %d wanted", len(p.Steps), MaxSteps)
	}
	if p.SignOut < 0 || p.SignOut > len(p.Steps) {
		return fmt.Errorf("sign out at step %d of %d", p.SignOut, len(p.Steps))
	}
	if p.NotApplicable != "" && len(p.Steps) > 0 {
		return fmt.Errorf("not applicable, yet with steps")
	}
	earlier := map[string]*Step{}
	for i := range p.Steps {
		s := &p.Steps[i]
		if err := s.check(earlier); err != nil {
			return fmt.Errorf("step %s: %w", s.Path, err)
		}
		if earlier[s.Path] != nil {
			return fmt.Errorf("step %s: twice in the plan", s.Path)
		}
		earlier[s.Path] = s
	}
	return nil
}

func (f File) check() error {
	if err := need("file", f.Name); err != nil {
		return err
	}
	if err := oneOf("origin of "+f.Name, f.Origin, Shipped, Changed, Own); err != nil {
		return err
	}
	if b, err := hex.DecodeString(f.Digest); err != nil || len(b) != 32 || strings.ToLower(f.Digest) != f.Digest {
		return fmt.Errorf("file %s: %q is not a SHA-256 in hexadecimal digits", f.Name, f.Digest)
	}
	return nil
}

func (s *Step) check(earlier map[string]*Step) error {
	if err := word("path", s.Path); err != nil {
		return err
	}
	if err := oneOf("kind", s.Kind, Confirm, Observe, Measure, Time, Compute, Wait, Hold, Capture); err != nil {
		return err
	}
	if err := need("text", s.Text); err != nil {
		return err
	}
	if err := utf8Only(s.Purpose, s.Source, s.NotApplicable, s.Method, s.Stimulus, s.Expect, s.Hold, s.Role, s.Function); err != nil {
		return err
	}
	if err := s.checkItems(); err != nil {
		return err
	}
	if err := words("part", s.Parts); err != nil {
		return err
	}
	if err := texts(s.Cautions); err != nil {
		return err
	}
	for _, v := range s.State {
		if err := word("state", v.Name); err != nil {
			return err
		}
		if err := need("state "+v.Name, v.Value); err != nil {
			return err
		}
	}
	if err := oneOf("if failed", s.IfFailed, Stop, MakeSafeStop, Note); err != nil {
		return err
	}
	if err := oneOf("lead check", s.LeadCheck, "", Before, After); err != nil {
		return err
	}
	if err := s.TestRange.check(); err != nil {
		return err
	}
	for _, c := range s.Choices {
		if err := need("choice", c); err != nil {
			return err
		}
	}
	for _, h := range s.Heats {
		if err := h.check(); err != nil {
			return fmt.Errorf("heat: %w", err)
		}
	}
	if err := s.checkKind(); err != nil {
		return err
	}
	for _, c := range s.Channels {
		if err := word("channel", c.Role); err != nil {
			return err
		}
		if err := need("channel "+c.Role, c.Column); err != nil {
			return err
		}
	}
	for _, c := range s.Recorders {
		if err := words("recorder", []string{c.Channel, c.Role}); err != nil {
			return err
		}
	}
	for _, c := range s.Signals {
		if err := checkSignal(c); err != nil {
			return err
		}
	}
	for _, a := range s.From {
		if err := a.check(earlier); err != nil {
			return fmt.Errorf("argument %s: %w", a.Name, err)
		}
	}
	for _, b := range s.Bounds {
		dim := s.Dim
		if s.Kind == Capture {
			dim = b.Dim // each feature has its own
		}
		if err := b.check(dim); err != nil {
			return fmt.Errorf("bound %s: %w", b.ID, err)
		}
		if s.Kind != Capture && b.Feature != "" {
			return fmt.Errorf("bound %s: a feature on a step that is no capture", b.ID)
		}
		if s.Kind == Capture {
			if err := word("feature", b.Feature); err != nil {
				return fmt.Errorf("bound %s: %w", b.ID, err)
			}
		}
	}
	return nil
}

// checkKind asks for what the kind needs and refuses what it has no use for:
// a limit on a step that gives no number would never be judged.
func (s *Step) checkKind() error {
	number, meter, capture := hasDimension(s.Kind), s.TakesMeter(), s.Kind == Capture
	switch {
	case meter && s.UnfitMeter != RefuseMeter && s.UnfitMeter != MarkMeter:
		return fmt.Errorf("unfit meter: %q, %q or %q wanted", s.UnfitMeter, RefuseMeter, MarkMeter)
	case !meter && (s.UnfitMeter != "" || s.LeadCheck != "" || s.Role != "" || s.TestRange != TestRange{}):
		return fmt.Errorf("a meter on a step that takes no reading")
	case capture && (s.LeadCheck != "" || s.TestRange != TestRange{}):
		return fmt.Errorf("a lead check or a test current on a capture")
	case !number && (len(s.Bounds) > 0 && !capture || s.Dim != quantity.Dim{}):
		return fmt.Errorf("a bound or a dimension on a step that gives no number")
	case !capture && len(s.Channels)+len(s.Signals)+len(s.Recorders) > 0:
		return fmt.Errorf("channels on a step that is no capture")
	case s.Kind != Compute && !capture && (s.Function != "" || len(s.From) > 0):
		return fmt.Errorf("a function on a step that does not compute")
	case s.Kind != Wait && s.Seconds != 0:
		return fmt.Errorf("a duration on a step that does not wait")
	case s.NotApplicable != "":
		return nil
	case s.Kind == Observe && s.Expect == "" && len(s.Choices) < 2:
		return fmt.Errorf("neither an expected answer nor a choice of two")
	case (s.Kind == Confirm || s.Expect != "") && !slices.Contains(s.Choices, s.Expect):
		return fmt.Errorf("the expected answer %q is none of the choices", s.Expect)
	case meter && s.Role == "":
		return fmt.Errorf("no instrument role")
	case (s.Kind == Compute || capture) && s.Function == "":
		return fmt.Errorf("no function")
	case s.Kind == Hold && s.Hold == "":
		return fmt.Errorf("no role that releases it")
	case s.Kind == Wait && !(s.Seconds > 0):
		return fmt.Errorf("no duration")
	}
	return finite("duration", s.Seconds)
}

func (h Heat) check() error {
	if err := word("part", h.Part); err != nil {
		return err
	}
	if !(h.Joules > 0) || !(h.Pulse >= 0) || !(h.Watts >= 0) {
		return fmt.Errorf("%s: %v J, %v J, %v W", h.Part, h.Joules, h.Pulse, h.Watts)
	}
	return finite("heat", h.Joules, h.Pulse, h.Watts)
}

func (a Arg) check(earlier map[string]*Step) error {
	if err := word("argument", a.Name); err != nil {
		return err
	}
	if !a.IsValue() {
		if a.Step != "" && a.Text != "" {
			return fmt.Errorf("from a step and a word at once")
		}
		if a.Lo != 0 || a.Nominal != 0 || a.Hi != 0 || a.Dim != (quantity.Dim{}) || a.Formula+a.Substituted+a.Exactness != "" || a.Inputs != nil {
			return fmt.Errorf("a value beside a step or a word")
		}
		if s := earlier[a.Step]; a.Step != "" && (s == nil || !hasDimension(s.Kind) && s.Kind != Observe) {
			return fmt.Errorf("%q is not an earlier step that gives a number or a word", a.Step)
		}
		return utf8Only(a.Text)
	}
	if !(a.Lo <= a.Nominal && a.Nominal <= a.Hi) {
		return fmt.Errorf("low, nominal and high are not in order")
	}
	return explained(a.Formula, a.Substituted, a.Exactness, a.Inputs, a.Lo, a.Nominal, a.Hi)
}

func (b Bound) check(dim quantity.Dim) error {
	if err := need("id", b.ID); err != nil {
		return err
	}
	if boundWord(b.Kind) == "" || ruleWord(b.Rule) == "" {
		return fmt.Errorf("unknown kind of bound or decision rule")
	}
	if b.Dim != dim {
		return fmt.Errorf("in %s, the step is in %s", dimension(b.Dim), dimension(dim))
	}
	low, high := ends(b.Kind)
	if !low && b.Low != 0 || !high && b.High != 0 {
		return fmt.Errorf("an end that the kind has no use for")
	}
	if low && high && !(b.Low <= b.High) {
		return fmt.Errorf("nothing lies between %v and %v", b.Low, b.High)
	}
	if b.Kind == quantity.MagnitudeAtMost && !(b.High >= 0) {
		return fmt.Errorf("no magnitude is below %v", b.High)
	}
	if err := b.TestRange.check(); err != nil {
		return err
	}
	if err := utf8Only(b.Rules, b.Source, b.Method, b.Stimulus); err != nil {
		return err
	}
	return explained(b.Formula, b.Substituted, b.Exactness, b.Inputs, b.Low, b.High)
}

func (t TestRange) check() error {
	for _, x := range []float64{t.MinTestVoltage, t.MinTestCurrent, t.MaxTestCurrent} {
		if x < 0 {
			return fmt.Errorf("test range: %v is negative", x)
		}
	}
	return finite("test range", t.MinTestVoltage, t.MinTestCurrent, t.MaxTestCurrent)
}

func explained(formula, substituted, exactness string, inputs []Input, numbers ...float64) error {
	for _, in := range inputs {
		if err := need("input", in.Name); err != nil {
			return err
		}
		numbers = append(numbers, in.Lo, in.Hi)
	}
	if err := finite("a number", numbers...); err != nil {
		return err
	}
	return utf8Only(formula, substituted, exactness)
}

func texts(lists ...[]Text) error {
	for _, list := range lists {
		for _, t := range list {
			if err := word("text", t.ID); err != nil {
				return err
			}
			if err := need(t.ID, t.Text); err != nil {
				return err
			}
		}
	}
	return nil
}

func words(what string, values []string) error {
	for _, v := range values {
		if err := word(what, v); err != nil {
			return err
		}
	}
	return nil
}

// word asks for a text without spaces.
func word(what, s string) error {
	if strings.ContainsRune(s, ' ') {
		return fmt.Errorf("%s %q has a space", what, s)
	}
	return need(what, s)
}

// need takes pairs of what and value; the values must not be empty.
func need(pairs ...string) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] == "" {
			return fmt.Errorf("no %s", pairs[i])
		}
		if err := utf8Only(pairs[i+1]); err != nil {
			return err
		}
	}
	return nil
}

func utf8Only(values ...string) error {
	for _, v := range values {
		if !utf8.ValidString(v) {
			return fmt.Errorf("%q is not UTF-8", v)
		}
	}
	return nil
}

func oneOf(what, s string, allowed ...string) error {
	if slices.Contains(allowed, s) {
		return nil
	}
	return fmt.Errorf("%s: %q, one of %q wanted", what, s, allowed)
}

// finite refuses what has no plain decimal text: not-a-number, infinity, −0.
func finite(what string, values ...float64) error {
	for _, x := range values {
		if math.IsNaN(x) || math.IsInf(x, 0) || x == 0 && math.Signbit(x) {
			return fmt.Errorf("%s: %v cannot be written", what, x)
		}
	}
	return nil
}
