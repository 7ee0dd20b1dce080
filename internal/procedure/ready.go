package procedure

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// confirmed is what a confirm step expects where it does not say.
const confirmed = "done"

// step makes one step ready and puts it into the plan.
func (w *walk) step(s *step, sc scope) {
	w.applies(&sc, s.AppliesIf)
	kind := s.kinds()[0]
	p := plan.Step{
		Path: sc.prefix() + s.ID.Text, Kind: kind.name, Text: w.fill(sc, kind.at),
		Purpose: w.fill(sc, s.Purpose), Source: w.fill(sc, s.Source),
		NotApplicable: sc.reason, Items: sc.turns, Parts: sc.parts, IfFailed: plan.Stop,
	}
	if s.Part != nil {
		p.Parts = w.parts(sc, s.Part)
	}
	if given(s.IfFailed) {
		p.IfFailed = s.IfFailed.Text
	}
	p.Witness, p.ConditionalPass = s.Witness.Text == "true", given(s.ConditionalPass)
	p.Cautions = w.texts(sc, append(slices.Clip(sc.cautions), s.Cautions...), w.lib.texts.cautions, "caution")
	p.State = w.state(sc, sc.state, s.State)
	switch kind.name {
	case plan.Confirm, plan.Observe:
		w.statement(s, sc, &p)
	case plan.Measure, plan.Time:
		w.reading(s, sc, &p)
	case plan.Capture:
		w.capture(s, sc, &p)
	case plan.Compute:
		w.compute(s, sc, &p)
	case plan.Wait:
		w.wait(s, sc, &p)
	case plan.Hold:
		p.Hold = s.ReleasedBy.Text
	}
	w.heats(s, sc, &p)
	w.add(p, sc, s.ID)
}

// heats settles what an attempt puts into resistors. A car that does not say
// how much has no account of it.
func (w *walk) heats(s *step, sc scope, p *plan.Step) {
	if p.NotApplicable != "" {
		return
	}
	for _, part := range s.Heats.Keys() {
		text, _ := s.Heats.Get(part.Text)
		if _, known := w.car.Part(part.Text); !known {
			continue // nothing of that kind to be heated
		}
		var missing diag.List
		w.faults.trap = &missing
		res, ok := w.eval(sc, text, formula.Want{Dim: quantity.Joule})
		w.faults.trap = nil
		if !ok || !(res.Hi > 0) {
			continue
		}
		rating := func(field string) float64 {
			r, _, _ := w.car.Value(part.Text + "." + field)
			return r.Lo
		}
		p.Heats = append(p.Heats, plan.Heat{Part: part.Text, Joules: res.Hi, Pulse: rating("pulse_energy"), Watts: rating("continuous_power")})
	}
}

// statement settles what may be answered. The wanted answer never stands
// first: who does not read must not be right.
func (w *walk) statement(s *step, sc scope, p *plan.Step) {
	p.Expect, p.Choices = w.fill(sc, s.Expect), w.fillAll(sc, s.Choices)
	if p.Kind == plan.Confirm && p.Expect == "" {
		p.Expect = confirmed
	}
	if len(p.Choices) == 0 {
		p.Choices = []string{"not " + p.Expect, p.Expect}
	}
	if p.Choices[0] == p.Expect {
		p.Choices[0], p.Choices[1] = p.Choices[1], p.Choices[0]
	}
	for i, c := range p.Choices {
		if slices.Contains(p.Choices[:i], c) {
			w.errorf(sc, s.ID, "different words", "two choices are the same: %q", c)
		}
	}
}

// reading settles measure and time steps.
func (w *walk) reading(s *step, sc scope, p *plan.Step) {
	p.Dim = quantity.Second
	if given(s.Unit) {
		p.Dim, _ = unit(s.Unit.Text) // checked by Parse
	}
	if p.Kind == plan.Time && p.Dim != quantity.Second {
		w.errorf(sc, s.Unit, "s, ms or min", "time is not measured in %s", s.Unit.Text)
		return
	}
	p.Role, p.Method, p.Stimulus = s.With.Text, w.fill(sc, s.Method), w.fill(sc, s.Stimulus)
	p.LeadCheck, p.UnfitMeter = s.LeadCheck.Text, plan.RefuseMeter
	if given(s.UnfitMeter) {
		p.UnfitMeter = s.UnfitMeter.Text
	}
	if p.NotApplicable != "" {
		return
	}
	p.MinTestVoltage = w.number(sc, s.MinVoltage, quantity.Volt).Hi
	p.MinTestCurrent = w.number(sc, s.MinCurrent, quantity.Ampere).Hi
	p.MaxTestCurrent = w.number(sc, s.MaxCurrent, quantity.Ampere).Lo
	w.bounds(s, sc, p)
}

func (w *walk) wait(s *step, sc scope, p *plan.Step) {
	if p.NotApplicable != "" {
		return
	}
	res, ok := w.eval(sc, s.For, formula.Want{Dim: quantity.Second})
	if !ok {
		return
	}
	if !(res.Hi > 0) {
		w.errorf(sc, s.For, "a time above zero", "nothing is waited for: %s = %v s", s.For.Text, res.Hi)
		return
	}
	p.Seconds = res.Hi
}

// texts gives cautions or protective equipment with their words, each once.
func (w *walk) texts(sc scope, ids []yamlfile.Scalar, from yamlfile.Map[yamlfile.Scalar], what string) []plan.Text {
	var out []plan.Text
	for _, id := range ids {
		name := w.fill(sc, id)
		text, ok := from.Get(name)
		if !ok && w.faulty.Texts {
			continue
		}
		if !ok {
			w.errorf(sc, id, nearest(name, texts(from.Keys())), "cautions.yaml has no %s %q", what, name)
			continue
		}
		if !slices.ContainsFunc(out, func(t plan.Text) bool { return t.ID == name }) {
			out = append(out, plan.Text{ID: name, Text: text.Text})
		}
	}
	return out
}

// compute settles a computed step and its arguments.
func (w *walk) compute(s *step, sc scope, p *plan.Step) {
	f, _ := function(s.Compute.Text) // checked by Parse
	p.Function, p.Method, p.Dim = f.Name, f.Method, f.Result
	if given(s.Unit) {
		d, _ := unit(s.Unit.Text)
		if !f.AnyResult && d != f.Result {
			w.errorf(sc, s.Unit, "unit: "+f.Result.String(), "%s gives %s, not %s", f.Name, f.Result, d)
			return
		}
		p.Dim = d
	}
	p.Text = w.fill(sc, s.Text)
	if p.Text == "" {
		p.Text, p.Purpose = p.Purpose, ""
	}
	if p.Text == "" {
		p.Text = fmt.Sprintf("Compute %s.", strings.ReplaceAll(f.Name, "_", " "))
	}
	if p.NotApplicable != "" {
		return
	}
	if s.IfMissing.Text == noteMissing || w.draft {
		var missing diag.List
		w.faults.trap = &missing
		defer func() {
			w.faults.trap = nil
			if len(missing) > 0 {
				p.NotApplicable, p.From, p.Bounds = lacking(missing[0]), nil, nil
			}
		}()
	}
	var alike *quantity.Dim
	complete := true
	for _, a := range f.Arguments {
		from, ok := s.From.Get(a.Name)
		if !ok {
			continue // optional; Parse has asked for the others
		}
		want := formula.Want{Dim: a.Dim}
		switch {
		case a.Same:
			want.Dim = p.Dim
		case a.Alike && alike == nil:
			want = formula.Want{Any: true}
		case a.Alike:
			want.Dim = *alike
		}
		arg, dim, ok := w.argument(a, from, sc, want)
		if !ok {
			complete = false
			continue
		}
		p.From = append(p.From, arg)
		if a.Alike {
			alike = &dim
		}
	}
	if complete && (f.Name == "difference" || f.Name == "ratio") && !slices.ContainsFunc(p.From, func(a plan.Arg) bool { return a.Step != "" }) {
		w.errorf(sc, s.Compute, "compute: value, if nothing is measured", "%s takes no reading", f.Name)
	}
	w.bounds(s, sc, p)
}

// lacking says which value of the car a step lacks, and where it would stand.
func lacking(p diag.Problem) string {
	switch {
	case p.Hint == "" || strings.Contains(p.Message, p.Hint):
		return p.Message
	case strings.Contains(p.Hint, plan.IsMissing):
		return p.Hint
	}
	return p.Message + ": " + p.Hint
}

// argument settles one argument of a computed step.
func (w *walk) argument(a Argument, from yamlfile.Scalar, sc scope, want formula.Want) (plan.Arg, quantity.Dim, bool) {
	text := w.fill(sc, from)
	var none quantity.Dim
	if a.Kind == Word && slices.Contains(a.Words, text) {
		return plan.Arg{Name: a.Name, Text: text}, none, true
	}
	if a.Kind != ValueOnly {
		if i, ok := w.find(text, sc); ok {
			s := &w.plan.Steps[i]
			return plan.Arg{Name: a.Name, Step: s.Path}, s.Dim, w.fits(a, from, sc, s, want)
		}
	}
	switch a.Kind {
	case Word:
		w.errorf(sc, from, "write "+strings.Join(a.Words, " or ")+", or the id of an earlier observe step", "%s: %q is neither a word nor an earlier step", a.Name, from.Text)
		return plan.Arg{}, none, false
	case ReadingOnly:
		w.errorf(sc, from, nearest(text, w.names(sc)), "%s: there is no earlier step %q", a.Name, from.Text)
		return plan.Arg{}, none, false
	}
	if a.Kind == ReadingOrValue && namePattern.MatchString(text) && !w.isFirstSegment(text) {
		w.errorf(sc, from, nearest(text, w.names(sc)), "%s: there is no earlier step %q", a.Name, from.Text)
		return plan.Arg{}, none, false
	}
	res, ok := w.eval(sc, from, want)
	if !ok {
		return plan.Arg{}, none, false
	}
	return plan.Arg{
		Name: a.Name, Lo: res.Lo + 0, Nominal: res.Nominal + 0, Hi: res.Hi + 0, Dim: res.Dim,
		Formula: res.Formula, Substituted: res.Substituted, Exactness: res.Exactness, Inputs: w.env.Underlying(inputs(res)),
	}, res.Dim, true
}

// fits reports whether an earlier step can be the argument.
func (w *walk) fits(a Argument, from yamlfile.Scalar, sc scope, s *plan.Step, want formula.Want) bool {
	measured := s.Kind == plan.Measure || s.Kind == plan.Time
	switch {
	case sc.signOut && w.index[s.Path] < w.plan.SignOut:
		w.errorf(sc, from, "a step of the sign-out", "%s: sign-out is done after a stop, too, when step %s may have no value", a.Name, s.Path)
	case s.NotApplicable != "":
		w.errorf(sc, from, "give this step the same applies_if", "%s: step %s does not apply: %s", a.Name, s.Path, s.NotApplicable)
	case a.Kind == Word:
		if s.Kind == plan.Observe && within(s.Choices, a.Words) {
			return true
		}
		w.errorf(sc, from, "an observe step with choices: ["+strings.Join(a.Words, ", ")+"]", "%s: step %s does not answer with such a word", a.Name, s.Path)
	case a.Kind == ReadingOnly && !measured:
		w.errorf(sc, from, "a measure step", "%s: step %s takes no reading", a.Name, s.Path)
	case !measured && s.Kind != plan.Compute:
		w.errorf(sc, from, "a measure, time or compute step", "%s: step %s gives no number", a.Name, s.Path)
	case !want.Any && s.Dim != want.Dim:
		w.errorf(sc, from, "a step in "+want.Dim.String(), "%s: step %s is in %s", a.Name, s.Path, s.Dim)
	default:
		return true
	}
	return false
}

func within(words, of []string) bool {
	return len(words) > 0 && !slices.ContainsFunc(words, func(x string) bool { return !slices.Contains(of, x) })
}

// find gives the earlier step that a name stands for, searched from the
// innermost list outward.
func (w *walk) find(name string, sc scope) (int, bool) {
	for _, prefix := range slices.Backward(sc.prefixes) {
		if i, ok := w.index[prefix+name]; ok {
			return i, true
		}
	}
	return 0, false
}

// names gives the ids of the earlier steps that find would find.
func (w *walk) names(sc scope) []string {
	var out []string
	for i := range w.plan.Steps {
		for _, prefix := range sc.prefixes {
			if id, ok := strings.CutPrefix(w.plan.Steps[i].Path, prefix); ok {
				out = append(out, id)
			}
		}
	}
	return out
}

func inputs(res formula.Result) []plan.Input {
	var out []plan.Input
	for _, in := range res.Inputs {
		out = append(out, plan.Input{Name: in.Name, Lo: in.Lo + 0, Hi: in.Hi + 0, Dim: in.Dim})
	}
	return out
}
