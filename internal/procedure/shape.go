package procedure

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/rules"
	"hvproof/internal/yamlfile"
)

// What a compute step does where the car's file does not give a value that
// it needs: the procedure has no plan, or the step says so and is not done.
const (
	refuseMissing = "refuse"
	noteMissing   = "note"
)

// maxNesting is how deep loops and includes may stand in each other.
const maxNesting = 8

// warnGroup is the most steps in one list that a person keeps in mind:
// 5 to 9 items a list (notes on the use of checklists).
const warnGroup = 9

// key is one key of a step with its place, if it is there.
type key struct {
	name string
	at   yamlfile.Scalar
}

// kinds gives the keys of the step that say what it is.
func (s *step) kinds() []key {
	return present(
		key{plan.Confirm, s.Confirm}, key{plan.Observe, s.Observe}, key{plan.Measure, s.Measure},
		key{plan.Time, s.Time}, key{plan.Compute, s.Compute}, key{plan.Wait, s.Wait},
		key{plan.Hold, s.Hold}, key{plan.Capture, s.Capture}, key{"for_every", s.ForEvery}, key{"include", s.Include},
	)
}

// others gives the other keys of the step, without id.
func (s *step) others() []key {
	keys := present(
		key{"text", s.Text}, key{"purpose", s.Purpose}, key{"source", s.Source},
		key{"applies_if", s.AppliesIf}, key{"witness", s.Witness}, key{"if_failed", s.IfFailed},
		key{"conditional_pass", s.ConditionalPass}, key{"expect", s.Expect}, key{"unit", s.Unit},
		key{"with", s.With}, key{"method", s.Method}, key{"stimulus", s.Stimulus},
		key{"test_voltage_at_least", s.MinVoltage}, key{"test_current_at_least", s.MinCurrent},
		key{"test_current_at_most", s.MaxCurrent}, key{"lead_check", s.LeadCheck},
		key{"unfit_meter", s.UnfitMeter}, key{"for", s.For}, key{"released_by", s.ReleasedBy},
		key{"called", s.Called}, key{"if_missing", s.IfMissing}, key{"kind", s.CaptureKind},
	)
	nodes := []struct {
		name string
		node *yamlfile.Node
	}{
		{"part", s.Part}, {"limit", s.Limit}, {"at_least", s.AtLeast}, {"at_most", s.AtMost},
		{"between", s.Between}, {"magnitude_at_most", s.MagnitudeMost}, {"expected", s.Expected},
	}
	for _, n := range nodes {
		if n.node != nil {
			keys = append(keys, key{n.name, n.node.Scalar()})
		}
	}
	if s.State.Len() > 0 {
		keys = append(keys, key{"state", s.State.Keys()[0]})
	}
	if s.Channels.Len() > 0 {
		keys = append(keys, key{"channels", s.Channels.Keys()[0]})
	}
	if s.RecordedBy.Len() > 0 {
		keys = append(keys, key{"recorded_by", s.RecordedBy.Keys()[0]})
	}
	if s.Find.Len() > 0 {
		keys = append(keys, key{"find", s.Find.Keys()[0]})
	}
	if s.From.Len() > 0 {
		keys = append(keys, key{"from", s.From.Keys()[0]})
	}
	if s.Heats.Len() > 0 {
		keys = append(keys, key{"heats", s.Heats.Keys()[0]})
	}
	if len(s.Cautions) > 0 {
		keys = append(keys, key{"cautions", s.Cautions[0]})
	}
	if len(s.Choices) > 0 {
		keys = append(keys, key{"choices", s.Choices[0]})
	}
	if len(s.Steps) > 0 {
		keys = append(keys, key{"steps", s.Steps[0].place()})
	}
	return keys
}

func present(keys ...key) []key {
	return slices.DeleteFunc(keys, func(k key) bool { return !given(k.at) })
}

// place gives the first thing of the step that has a place.
func (s *step) place() yamlfile.Scalar {
	if given(s.ID) {
		return s.ID
	}
	if k := s.kinds(); len(k) > 0 {
		return k[0].at
	}
	if k := s.others(); len(k) > 0 {
		return k[0].at
	}
	return yamlfile.Scalar{}
}

// allowed gives the keys that go with a kind.
func allowed(kind string) []string {
	any := []string{"text", "purpose", "source", "applies_if", "state", "cautions", "part", "witness", "if_failed", "heats"}
	bounds := []string{"limit", "at_least", "at_most", "between", "magnitude_at_most", "expected", "conditional_pass"}
	switch kind {
	case plan.Confirm, plan.Observe:
		return append(any, "expect", "choices")
	case plan.Measure, plan.Time:
		any = append(any, "unit", "with", "method", "stimulus", "test_voltage_at_least",
			"test_current_at_least", "test_current_at_most", "lead_check", "unfit_meter")
		return append(any, bounds...)
	case plan.Compute:
		return append(append(any, "unit", "from", "if_missing"), bounds...)
	case plan.Capture:
		return append(any, "kind", "with", "unfit_meter", "channels", "recorded_by", "find", "conditional_pass")
	case plan.Wait:
		return append(any, "for")
	case plan.Hold:
		return append(any, "released_by")
	case "for_every":
		return []string{"called", "applies_if", "steps"}
	case "include":
		return []string{"applies_if", "state", "part"}
	}
	return nil
}

// steps checks a list of steps as far as it can be without the car.
func (r *reporter) steps(list []step) { r.stepsAt(list, 0) }

func (r *reporter) stepsAt(list []step, depth int) {
	if depth > maxNesting {
		r.errorf(list[0].place(), fmt.Sprintf("at most %d", maxNesting), "loops stand too deep in each other")
		return
	}
	if len(list) > warnGroup {
		r.warnf(list[warnGroup].place(),
			"divide it into blocks or loops", "%d steps in one list, more than the %d that a person keeps in mind", len(list), warnGroup)
	}
	seen := map[string]bool{}
	for i := range list {
		s := &list[i]
		if given(s.ID) {
			if !idPattern.MatchString(s.ID.Text) {
				r.errorf(s.ID, "lower-case letters, digits and _", "%q is not a step id", s.ID.Text)
			}
			if seen[s.ID.Text] {
				r.errorf(s.ID, "an id is used once in its list", "the step %s is here twice", s.ID.Text)
			}
			seen[s.ID.Text] = true
		}
		r.step(s, depth)
	}
}

func (r *reporter) step(s *step, depth int) {
	kinds := s.kinds()
	switch {
	case len(kinds) == 0:
		r.errorf(s.place(), "one of confirm, observe, measure, time, capture, compute, wait, hold, for_every, include", "the step has no kind")
		return
	case len(kinds) > 1:
		r.errorf(kinds[1].at, "a step has one kind", "the step has two kinds: %s and %s", kinds[0].name, kinds[1].name)
		return
	}
	kind := kinds[0]
	r.keys(s, kind)
	if kind.at.Text == "" {
		r.errorf(kind.at, "write one sentence", "%s has no text", kind.name)
	}
	if kind.name == "for_every" {
		r.loop(s, depth)
		return
	}
	if !given(s.ID) {
		r.errorf(kind.at, "add id: NAME", "the step has no id")
	}
	if kind.name == "include" {
		if _, ok := scalars(s.Part); !ok {
			r.list.Add(r.file.At(s.Part.Scalar(), "part: NAME, or a list of names", "part does not name a part"))
		}
		return
	}
	r.yes(s.Witness, "witness")
	r.word(s.IfFailed, "if_failed", plan.Stop, plan.MakeSafeStop, plan.Note)
	r.word(s.ConditionalPass, "conditional_pass", "accept")
	r.word(s.LeadCheck, "lead_check", plan.Before, plan.After)
	r.word(s.UnfitMeter, "unfit_meter", plan.RefuseMeter, plan.MarkMeter)
	r.word(s.IfMissing, "if_missing", refuseMissing, noteMissing)
	r.kind(s, kind)
}

// kind asks for what a step of the kind needs.
func (r *reporter) kind(s *step, kind key) {
	switch kind.name {
	case plan.Confirm, plan.Observe:
		r.statement(s, kind)
	case plan.Capture:
		r.capture(s, kind)
	case plan.Measure, plan.Time:
		if kind.name == plan.Measure && !given(s.Unit) {
			r.errorf(kind.at, "add unit: V, Ω, A, s …", "measure has no unit")
		}
		r.role(s, kind)
	case plan.Compute:
		r.compute(s)
	case plan.Wait:
		if !given(s.For) {
			r.errorf(kind.at, "add for: and a time, such as for: 5 min", "wait has no duration")
		}
	case plan.Hold:
		if !given(s.ReleasedBy) {
			r.errorf(kind.at, "add released_by: releaser", "hold names no role that releases it")
		}
		r.word(s.ReleasedBy, "released_by", "releaser")
	}
	if given(s.LeadCheck) && s.Limit == nil && len(s.inlines()) == 0 {
		r.errorf(s.LeadCheck, "add at_most: for shorted leads, or between: for a known resistor", "a lead check without a limit proves nothing")
	}
	r.bounds(s)
	if given(s.Unit) {
		if _, err := unit(s.Unit.Text); err != nil {
			r.errorf(s.Unit, "V, A, Ω, F, s, N·m, 1 …", "%q is not a unit", s.Unit.Text)
		}
	}
}

// role asks for the instrument's role.
func (r *reporter) role(s *step, kind key) {
	if !given(s.With) {
		r.errorf(kind.at, "add with: and the instrument's role, such as voltmeter", "%s names no instrument", kind.name)
	} else if !namePattern.MatchString(s.With.Text) {
		r.errorf(s.With, "a role such as voltmeter or insulation_tester", "%q is not an instrument role", s.With.Text)
	}
}

// bounds checks the shape of what limits the step, and of its parts.
func (r *reporter) bounds(s *step) {
	for _, b := range s.inlines() {
		_, problems := rules.Formulas(r.file, b.kind, b.node)
		r.list.Append(problems)
	}
	if _, ok := scalars(s.Limit); !ok {
		r.list.Add(r.file.At(s.Limit.Scalar(), "limit: NAME, or a list of names", "limit does not name a limit"))
	}
	if _, ok := scalars(s.Part); !ok {
		r.list.Add(r.file.At(s.Part.Scalar(), "part: NAME, or a list of names", "part does not name a part"))
	}
}

func (r *reporter) statement(s *step, kind key) {
	words := texts(s.Choices)
	for i, c := range s.Choices {
		if c.Text == "" || slices.Contains(words[:i], c.Text) {
			r.errorf(c, "different words, each saying what is seen", "the choice %q is empty or here twice", c.Text)
		}
	}
	switch {
	case len(words) == 1:
		r.errorf(s.Choices[0], "name what may be seen instead, too", "a choice of one answer is no question")
	case given(s.Expect) && len(words) > 0 && !slices.Contains(words, s.Expect.Text):
		r.errorf(s.Expect, "one of "+strings.Join(words, ", "), "the expected answer %q is none of the choices", s.Expect.Text)
	case given(s.Expect) && s.Expect.Text == "":
		r.errorf(s.Expect, "the word for the wanted state, such as open", "expect is empty")
	case kind.name == plan.Observe && !given(s.Expect) && len(words) == 0:
		r.errorf(kind.at, "add expect: and the wanted state in a word; or choices: to record which is so", "observe does not say what is expected")
	case kind.name == plan.Confirm && !given(s.Expect) && len(words) > 0 && !slices.Contains(words, confirmed):
		r.errorf(s.Choices[0], "add expect: and one of the choices", "confirm does not say which choice is wanted")
	}
}

func (r *reporter) compute(s *step) {
	f, ok := function(s.Compute.Text)
	if !ok {
		r.errorf(s.Compute, nearest(s.Compute.Text, functionNames()), "there is no function %q", s.Compute.Text)
		return
	}
	for _, k := range s.From.Keys() {
		if _, ok := f.argument(k.Text); !ok {
			r.errorf(k, nearest(k.Text, f.argumentNames()), "%s has no argument %q", f.Name, k.Text)
		}
	}
	for _, a := range f.Arguments {
		if _, ok := s.From.Get(a.Name); !ok && !a.Optional {
			r.errorf(s.Compute, "add "+a.Name+": under from:", "%s lacks its argument %s", f.Name, a.Name)
		}
	}
	if f.AnyResult && !given(s.Unit) {
		r.errorf(s.Compute, "add unit: V, Ω, A, s …", "compute: %s has no unit", f.Name)
	}
}

func (r *reporter) loop(s *step, depth int) {
	if given(s.ID) {
		r.errorf(s.ID, "leave id out; its steps are called ITEM.STEP", "a loop has no id")
	}
	name := s.Called
	switch {
	case !given(name):
		r.errorf(s.ForEvery, "add called: and the name that the steps use, such as device", "the loop does not name its item")
	case !namePattern.MatchString(name.Text):
		r.errorf(name, "lower-case letters, digits and _, a letter first", "%q is not a name", name.Text)
	case isUnit(name.Text):
		r.errorf(name, "a longer name; in formulas this one is a unit", "%q is the name of a unit", name.Text)
	}
	if len(s.Steps) == 0 {
		r.errorf(s.ForEvery, "add steps:", "the loop has no steps")
		return
	}
	r.stepsAt(s.Steps, depth+1)
}

// keys refuses the keys that do not go with the kind.
func (r *reporter) keys(s *step, kind key) {
	ok := allowed(kind.name)
	for _, k := range s.others() {
		if slices.Contains(ok, k.name) {
			continue
		}
		hint := "it goes with " + strings.Join(kindsWith(k.name), ", ")
		r.errorf(k.at, hint, "%s does not go with %s", k.name, kind.name)
	}
}

func kindsWith(name string) []string {
	var out []string
	for _, kind := range []string{plan.Confirm, plan.Observe, plan.Measure, plan.Time, plan.Capture, plan.Compute, plan.Wait, plan.Hold, "for_every", "include"} {
		if slices.Contains(allowed(kind), name) {
			out = append(out, kind)
		}
	}
	return out
}

func (r *reporter) word(s yamlfile.Scalar, name string, words ...string) {
	if given(s) && !slices.Contains(words, s.Text) {
		r.errorf(s, "write "+strings.Join(words, ", "), "%s: %q is not known", name, s.Text)
	}
}

// nearest words a hint for a word that is not known.
func nearest(word string, known []string) string {
	if near, ok := diag.Nearest(word, known); ok {
		return fmt.Sprintf("did you mean %s?", near)
	}
	if len(known) == 0 {
		return ""
	}
	if len(known) > 12 {
		return fmt.Sprintf("there are %s … (%d in all)", strings.Join(known[:12], ", "), len(known))
	}
	return "there are " + strings.Join(known, ", ")
}

// unit gives the dimension of a unit; "1" is that of a count.
func unit(name string) (quantity.Dim, error) {
	if name == "1" {
		return quantity.One, nil
	}
	v, err := quantity.Parse("1 " + name)
	return v.Dim, err
}

func isUnit(name string) bool {
	_, err := unit(name)
	return err == nil
}
