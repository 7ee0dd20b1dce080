package procedure

import (
	"slices"
	"strings"

	"hvproof/internal/capture/feature"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/yamlfile"
)

// found is what a number of a capture is held against.
type found struct {
	Limit         *yamlfile.Node `yaml:"limit"`
	AtLeast       *yamlfile.Node `yaml:"at_least"`
	AtMost        *yamlfile.Node `yaml:"at_most"`
	Between       *yamlfile.Node `yaml:"between"`
	MagnitudeMost *yamlfile.Node `yaml:"magnitude_at_most"`
	Expected      *yamlfile.Node `yaml:"expected"`
}

// step gives the bounds of a number as those of a step of its own.
func (f found) step(id yamlfile.Scalar) *step {
	return &step{ID: id, Limit: f.Limit, AtLeast: f.AtLeast, AtMost: f.AtMost, Between: f.Between,
		MagnitudeMost: f.MagnitudeMost, Expected: f.Expected}
}

// capture checks the shape of a capture.
func (r *reporter) capture(s *step, kind key) {
	r.role(s, kind)
	switch {
	case !given(s.CaptureKind):
		r.errorf(kind.at, "add kind: "+strings.Join(feature.Kinds(), ", "), "the capture does not say what is looked for")
		return
	default:
		r.word(s.CaptureKind, "kind", feature.Kinds()...)
	}
	if s.Find.Len() == 0 {
		r.errorf(kind.at, "add find: with a number and its limit, such as tau: {expected: precharge.tau}", "nothing is judged by the capture")
	}
	for _, name := range s.Find.Keys() {
		if strings.ContainsAny(name.Text, "{}") {
			continue // a loop's item: known when it is unrolled
		}
		if _, ok := feature.Dim(s.CaptureKind.Text, name.Text); !ok {
			r.errorf(name, nearest(name.Text, feature.Names(s.CaptureKind.Text)), "%q is not a number of a %s capture", name.Text, s.CaptureKind.Text)
		}
		f, _ := s.Find.Get(name.Text)
		part := f.step(name)
		if part.Limit == nil && len(part.inlines()) == 0 {
			r.errorf(name, "at_least, at_most, between, expected or limit", "%s is held against nothing", name.Text)
		}
		r.bounds(part)
	}
	for _, role := range s.Channels.Keys() {
		if column, _ := s.Channels.Get(role.Text); column.Text == "" {
			r.errorf(role, "the column's name in the file", "the channel %s has no column", role.Text)
		}
		r.channel(role)
	}
	for _, channel := range s.RecordedBy.Keys() {
		if by, _ := s.RecordedBy.Get(channel.Text); !namePattern.MatchString(by.Text) {
			r.errorf(by, "an instrument role such as clamp", "%q is not an instrument role", by.Text)
		}
		r.channel(channel)
	}
}

// channel refuses a role that no channel of a capture has.
func (r *reporter) channel(role yamlfile.Scalar) {
	if base, _, _ := strings.Cut(role.Text, "."); !slices.Contains(feature.Roles(), base) {
		r.errorf(role, nearest(base, feature.Roles()), "%q is not a role of a channel", role.Text)
	}
}

// capture settles a capture: the bounds of every number, and what the car's
// data expect of it.
func (w *walk) capture(s *step, sc scope, p *plan.Step) {
	p.Role, p.Function, p.UnfitMeter = s.With.Text, s.CaptureKind.Text, plan.RefuseMeter
	if given(s.UnfitMeter) {
		p.UnfitMeter = s.UnfitMeter.Text
	}
	for _, role := range s.Channels.Keys() {
		column, _ := s.Channels.Get(role.Text)
		p.Channels = append(p.Channels, plan.Channel{Role: w.fill(sc, role), Column: w.fill(sc, column)})
	}
	for _, channel := range s.RecordedBy.Keys() {
		by, _ := s.RecordedBy.Get(channel.Text)
		p.Recorders = append(p.Recorders, plan.Recorder{Channel: w.fill(sc, channel), Role: by.Text})
	}
	if p.NotApplicable != "" {
		return
	}
	for _, name := range s.Find.Keys() {
		text := w.fill(sc, name)
		dim, ok := feature.Dim(p.Function, text)
		if !ok {
			w.errorf(sc, name, nearest(text, feature.Names(p.Function)), "%q is not a number of a %s capture", text, p.Function)
			continue
		}
		f, _ := s.Find.Get(name.Text)
		part := plan.Step{Path: p.Path + "." + text, Dim: dim, Source: p.Source}
		w.bounds(f.step(name), sc, &part)
		for _, b := range part.Bounds {
			b.Feature = text
			p.Bounds = append(p.Bounds, b)
		}
	}
	p.Signals = w.car.Signals()
	packs, _, _ := w.car.Collection("packs")
	for _, name := range feature.CarValues(packs) {
		if arg, ok := w.expectation(name, sc); ok {
			p.From = append(p.From, arg)
		}
	}
}

// expectation gives a value of the car, where it has one: without it a capture
// is looked at all the same, and says less.
func (w *walk) expectation(name string, sc scope) (plan.Arg, bool) {
	v, known := w.env.Resolve(name)
	if !known || v.Absent != "" || v.IsBool {
		return plan.Arg{}, false
	}
	f, problems := formula.Compile(name, sc.file.At(yamlfile.Scalar{}, "", "").Place, name, w.env, formula.Want{Dim: v.Dim})
	if f == nil || problems.Errors() {
		return plan.Arg{}, false
	}
	res, err := f.Eval()
	if err != nil {
		return plan.Arg{}, false
	}
	return plan.Arg{
		Name: name, Lo: res.Lo + 0, Nominal: res.Nominal + 0, Hi: res.Hi + 0, Dim: res.Dim,
		Formula: res.Formula, Substituted: res.Substituted, Exactness: res.Exactness, Inputs: w.env.Underlying(inputs(res)),
	}, true
}
