package run

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/diag"
	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// ByEye begins an answer to a capture that was read off a screen: each number
// with the division that it was read to.
const ByEye = "by eye:"

// byEyeHint says how such an answer is written.
const byEyeHint = "attach the file; or read it by eye to one division: " + ByEye + " tau 70 ms ±20 ms; step_at_close 10 V ±50 V"

// CaptureFile gives the file that an answer to a capture names; none for one
// that was read by eye.
func CaptureFile(text string) (name string, ok bool) {
	name, _, _ = strings.Cut(text, ";")
	name = strings.TrimSpace(name)
	return name, name != "" && !strings.HasPrefix(strings.ToLower(name), ByEye)
}

// captured records a waveform with what was found in it, judged. The answer's
// text is the file's name, and after semicolons ROLE=COLUMN or how it is to be
// read: decimal=comma, time_unit=ms, interval=50 µs, recording=2.
func (m *Machine) captured(p Prompt, a Answer) ([]entry.Body, error) {
	name, isFile := CaptureFile(a.Text)
	if !isFile {
		return m.byEye(p, a)
	}
	if p.Meter == nil {
		return nil, &Refused{p.Key, "no instrument of this run recorded it", "begin the run with a " + p.Step.Role}
	}
	if a.File == nil {
		return nil, &Refused{p.Key, name + " was not read", byEyeHint}
	}
	w, found, err := analysed(p.Step, p.Meter, name, a.Text, a.File)
	if err != nil {
		return nil, refuseCapture(p, err)
	}
	j := judgeFeatures(p.Step, readings(found.Features), findings(found.Findings))
	for _, u := range m.start.refusals(p.Step, date(a.At, m.start.Date)) {
		j.Decision = worse(j.Decision, CannotDecide)
		j.Findings = append(j.Findings, u)
	}
	return one(m.captureBody(p, a, name, w, found, j)), nil
}

// analysed reads a waveform's file as the answer says, and analyses it.
func analysed(s *plan.Step, meter *measure.Instrument, name, text string, file []byte) (*capture.Waveform, *feature.Analysis, error) {
	opt, channels, err := captureOptions(s, text)
	if err != nil {
		return nil, nil, diag.Bad("ROLE=COLUMN, decimal=comma, decimal=point, time_unit=ms, interval=50 µs, recording=2", "%v", err)
	}
	opt.Name, opt.Signals = name, s.Signals
	sum := sha256.Sum256(file)
	opt.Digest = &sum
	w, err := capture.Read(bytes.NewReader(file), opt)
	if err != nil {
		return nil, nil, err
	}
	found, err := feature.Analyse(w, feature.Request{Kind: s.Function, Channels: channels,
		Instruments: map[string]measure.Instrument{"": *meter}, Car: carOf(s)})
	return w, found, err
}

// Waveform reads a recorded capture's file as its answer did, to be drawn.
func (m *Machine) Waveform(s *plan.Step, a *Attempt, file []byte) (*capture.Waveform, *feature.Analysis, error) {
	meter, _ := m.start.Meter(s)
	if a.Body.Kind != entry.Capture || meter == nil {
		return nil, nil, fmt.Errorf("entry %d is not a waveform", a.Index)
	}
	return analysed(s, meter, a.Body.Text("name"), a.Body.Text("text"), file)
}

func refuseCapture(p Prompt, err error) error {
	var d *diag.Error
	if errors.As(err, &d) && d.Class == diag.ClassBadInput {
		return &Refused{p.Key, d.Message, d.Hint}
	}
	return err
}

func (m *Machine) captureBody(p Prompt, a Answer, name string, w *capture.Waveform, found *feature.Analysis, j Judgement) entry.Body {
	b := m.body(p)
	b.Kind = entry.Capture
	b.Add("attempt", fmt.Sprint(p.Attempt))
	b.Add("file", hex.EncodeToString(w.SHA256[:]))
	b.Add("name", name)
	b.Add("text", strings.TrimSpace(a.Text))
	b.Add("capture", found.Kind)
	b.Add("importer", w.Importer)
	b.AddFamily("setting", strings.Split(strings.TrimSpace(w.Detected.String()), "\n")...)
	var channels, features []string
	for _, r := range found.Roles {
		channels = append(channels, r.String())
	}
	for _, f := range found.Features {
		features = append(features, featureText(f))
	}
	b.AddFamily("channel", channels...)
	b.Add("instrument", p.Meter.ID)
	b.AddFamily("feature", features...)
	j.addTo(&b)
	b.Add("reason", a.Reason)
	return b
}

// featureText is a feature as recorded: "tau 0.0348 s 0.0001", and above or
// below where it is one-sided.
func featureText(f feature.Feature) string {
	unit, _ := f.Dim.Unit()
	text := strings.Join([]string{f.Name, entry.FormatNumber(f.Value), unit, entry.FormatNumber(f.U)}, " ")
	if s := side(f.Side); s != "" {
		text += " " + s
	}
	return text
}

// A Feature is one number of a capture as recorded.
type Feature struct {
	Name string
	measure.Reading
}

// String gives the number with its uncertainty: "34.81 ms ± 45 µs".
func (f Feature) String() string {
	text := quantity.Value{SI: f.Value, Dim: f.Dim}.String()
	if s := side(f.Side); s != "" {
		return s + " " + text
	}
	return text + " ± " + quantity.Format(quantity.Value{SI: f.U, Dim: f.Dim}, 2, quantity.RoundUp)
}

// Features gives the numbers of a recorded capture. Numbers that are not as
// this program writes them are left out.
func (a *Attempt) Features(s *plan.Step) []Feature {
	var out []Feature
	for _, text := range a.Body.Family("feature") {
		if f, ok := parseFeature(s, text); ok {
			out = append(out, f)
		}
	}
	return out
}

func parseFeature(s *plan.Step, text string) (Feature, bool) {
	parts := strings.Split(text, " ")
	if len(parts) < 4 || len(parts) > 5 {
		return Feature{}, false
	}
	dim, ok := feature.Dim(s.Function, parts[0])
	unit, _ := dim.Unit()
	x, errX := entry.ParseNumber(parts[1])
	u, errU := entry.ParseNumber(parts[3])
	if !ok || unit != parts[2] || errX != nil || errU != nil || u < 0 {
		return Feature{}, false
	}
	f := Feature{parts[0], measure.Reading{Value: x, U: u, Dim: dim, RangeIndex: -1}}
	if len(parts) == 5 {
		switch parts[4] {
		case side(quantity.Above):
			f.Side = quantity.Above
		case side(quantity.Below):
			f.Side = quantity.Below
		default:
			return Feature{}, false
		}
	}
	return f, true
}

func readings(features []feature.Feature) []Feature {
	var out []Feature
	for _, f := range features {
		out = append(out, Feature{f.Name, measure.Reading{Value: f.Value, U: f.U, Dim: f.Dim, Side: f.Side, RangeIndex: -1}})
	}
	return out
}

func findings(list []feature.Finding) []string {
	var out []string
	for _, f := range list {
		out = append(out, f.Code+": "+f.Sentence)
	}
	return out
}

// judgeFeatures decides each feature against its bounds, like any reading. A
// finding is a fault, or the reason why nothing can be decided; what a bound
// asks for and the capture does not show is undecided.
func judgeFeatures(s *plan.Step, have []Feature, found []string) Judgement {
	out := Judgement{Decision: Done}
	var seen []string
	for i := range s.Bounds {
		name := s.Bounds[i].Feature
		if slices.Contains(seen, name) {
			continue
		}
		seen = append(seen, name)
		part := *s
		part.Bounds = nil
		for _, b := range s.Bounds {
			if b.Feature == name {
				part.Bounds = append(part.Bounds, b)
				part.Dim = b.Dim
			}
		}
		at := slices.IndexFunc(have, func(f Feature) bool { return f.Name == name })
		if at < 0 {
			out.Decision = worse(out.Decision, CannotDecide)
			out.Findings = append(out.Findings, name+" cannot be told from this capture")
			continue
		}
		j := Judge(&part, have[at].Reading, nil)
		if d := worse(out.Decision, j.Decision); d != out.Decision {
			out.Decision, out.Rule = d, j.Rule
		}
		out.Results = append(out.Results, j.Results...)
		for _, f := range j.Findings {
			out.Findings = append(out.Findings, name+": "+f)
		}
	}
	for _, f := range found {
		code, _, _ := strings.Cut(f, ":")
		if feature.Undecides(code) {
			out.Decision = worse(out.Decision, CannotDecide)
		} else {
			out.Decision = worse(out.Decision, Fail)
		}
		out.Findings = append(out.Findings, f)
	}
	return out
}

// captureOptions reads what stands after the file's name; the step's own
// channels come first, and are not changed by an answer.
func captureOptions(s *plan.Step, text string) (capture.Options, map[string]string, error) {
	var opt capture.Options
	channels := map[string]string{}
	for _, c := range s.Channels {
		channels[c.Role] = c.Column
	}
	for i, part := range strings.Split(text, ";") {
		if i == 0 || strings.TrimSpace(part) == "" {
			continue
		}
		name, value, ok := strings.Cut(part, "=")
		name, value = strings.TrimSpace(name), strings.TrimSpace(value)
		if !ok || name == "" || value == "" {
			return opt, nil, fmt.Errorf("%q is not NAME=VALUE", strings.TrimSpace(part))
		}
		switch name {
		case "decimal":
			opt.Decimal = map[string]string{"comma": ",", "point": "."}[value]
			ok = opt.Decimal != ""
		case "time_unit":
			opt.TimeUnit = value
		case "interval":
			v, err := quantity.Parse(value)
			ok = err == nil && v.Dim == quantity.Second && v.SI > 0
			opt.Interval = v.SI
		case "recording":
			n, err := strconv.Atoi(value)
			ok = err == nil && n > 0
			opt.Recording = n
		default:
			if was, set := channels[name]; set && was != value {
				return opt, nil, fmt.Errorf("%s is %s by the step already", name, was)
			}
			channels[name] = value
		}
		if !ok {
			return opt, nil, fmt.Errorf("%s=%s is not to be understood", name, value)
		}
	}
	return opt, channels, nil
}

// carOf gives what the frozen plan says of the car.
func carOf(s *plan.Step) *feature.Car {
	values := map[string]quantity.Range{}
	var packs []string
	for _, a := range s.From {
		if !a.IsValue() {
			continue
		}
		values[a.Name] = quantity.Range{Lo: a.Lo, Nominal: a.Nominal, Hi: a.Hi, Dim: a.Dim}
		if pack, ok := feature.PackOf(a.Name); ok {
			packs = append(packs, pack)
		}
	}
	return feature.NewCar(packs, func(name string) (quantity.Range, bool) { r, ok := values[name]; return r, ok })
}

// byEye records numbers read off a screen, each to one division.
func (m *Machine) byEye(p Prompt, a Answer) ([]entry.Body, error) {
	have, err := eyed(p.Step, a.Text)
	if err != nil {
		return nil, &Refused{p.Key, err.Error(), byEyeHint}
	}
	if p.Meter == nil {
		return nil, &Refused{p.Key, "no instrument of this run showed it", "begin the run with a " + p.Step.Role}
	}
	j := judgeFeatures(p.Step, have, nil)
	for _, u := range m.start.refusals(p.Step, date(a.At, m.start.Date)) {
		j.Decision = worse(j.Decision, CannotDecide)
		j.Findings = append(j.Findings, u)
	}
	b := m.body(p)
	b.Kind = entry.Reading
	b.Add("attempt", fmt.Sprint(p.Attempt))
	b.Add("text", strings.TrimSpace(a.Text))
	b.Add("instrument", p.Meter.ID)
	j.addTo(&b)
	b.Add("reason", a.Reason)
	return one(b), nil
}

// eyed reads "by eye: tau 70 ms ±20 ms; …". A number without its division is
// refused: what an eye reads off a screen is good to one division, no better.
func eyed(s *plan.Step, text string) ([]Feature, error) {
	rest, ok := strings.CutPrefix(strings.TrimSpace(text), ByEye)
	if !ok {
		return nil, fmt.Errorf("%q is neither a file nor read by eye", text)
	}
	var out []Feature
	for _, part := range strings.Split(rest, ";") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), " ")
		dim, known := feature.Dim(s.Function, name)
		if !known {
			return nil, fmt.Errorf("%q is not a number of a %s capture", name, s.Function)
		}
		r, err := quantity.ParseRange(strings.TrimSpace(value))
		switch {
		case err != nil:
			return nil, fmt.Errorf("%s: %w", name, err)
		case r.Dim != dim:
			return nil, fmt.Errorf("%s is in %s, not %s", name, dim, r.Dim)
		case r.Hi == r.Lo:
			return nil, fmt.Errorf("%s: the division is missing", name)
		}
		out = append(out, Feature{name, measure.Reading{Value: r.Nominal, U: max(r.Hi-r.Nominal, r.Nominal-r.Lo), Dim: dim, RangeIndex: -1, Text: value}})
	}
	return out, nil
}

// captureAgain decides a recorded capture once more from its own numbers.
func (m *Machine) captureAgain(e entry.Entry, s *plan.Step) (string, error) {
	var have []Feature
	var found []string
	if e.Kind == entry.Reading {
		var err error
		if have, err = eyed(s, e.Text("text")); err != nil {
			return "", err
		}
	} else {
		for _, text := range e.Family("feature") {
			f, ok := parseFeature(s, text)
			if !ok {
				return "", fmt.Errorf("%q is not a feature", text)
			}
			have = append(have, f)
		}
		for _, text := range e.Family("finding") {
			if code, _, ok := strings.Cut(text, ": "); ok && feature.IsCode(code) {
				found = append(found, text)
			}
		}
	}
	j := judgeFeatures(s, have, found)
	if len(m.start.refusals(s, e.Time.Format("2006-01-02"))) > 0 {
		j.Decision = worse(j.Decision, CannotDecide)
	}
	return j.Decision, nil
}
