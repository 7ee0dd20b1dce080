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
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// CaptureFile gives the file that an answer to a capture names; none for one
// that was read by eye or timed by hand.
func CaptureFile(text string) (name string, ok bool) {
	name, _, _ = strings.Cut(text, ";")
	name = strings.TrimSpace(name)
	for _, said := range []string{ByEye, ByHand} {
		if _, ok := cutFold(name, said); ok {
			return name, false
		}
	}
	return name, name != ""
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
	if p.Function != nil && p.Function.ByHand {
		return nil, &Refused{p.Key, p.Meter.ID + " records no waveform", "type what it shows, such as " + ByHand + " latency.main_contactor 0.19 s; or begin the run with a scope"}
	}
	if a.File == nil {
		return nil, &Refused{p.Key, name + " was not read", byEyeHint}
	}
	w, found, err := m.analysed(p.Step, name, a.Text, a.File)
	if err != nil {
		return nil, refuseCapture(p, err)
	}
	if ask := m.doubts(p, w, found); len(ask) > 0 && !a.Confirm {
		return nil, &AskBack{Key: p.Key, ReadBack: name + ", " + strings.Join(roles(found), ", "), Questions: ask}
	}
	j := judgeFeatures(p.Step, readings(found.Features), findings(found.Findings))
	m.unfitMeters(p, a, &j)
	return one(m.captureBody(p, a, name, w, found, j)), nil
}

// unfitMeters leaves a judgement undecided where an instrument must not count.
func (m *Machine) unfitMeters(p Prompt, a Answer, j *Judgement) {
	for _, u := range m.start.refusals(p.Step, date(a.At, m.start.Date)) {
		j.Decision = worse(j.Decision, CannotDecide)
		j.Findings = append(j.Findings, u)
	}
}

// doubts gives the questions that are asked back before a capture is recorded:
// what the reader had to assume, a recording that shows nothing of what the
// step asks for, and one that answered another step already. One recording of
// currents shows every pack.
func (m *Machine) doubts(p Prompt, w *capture.Waveform, found *feature.Analysis) []string {
	ask := slices.Clone(w.Detected.Assumed)
	wanted := p.Step.Found()
	if !slices.ContainsFunc(wanted, func(name string) bool { _, ok := found.Feature(name); return ok }) {
		said := "nothing is found in it"
		if len(found.Findings) > 0 {
			said = found.Findings[0].Sentence
		}
		ask = append(ask, fmt.Sprintf("This recording shows no %s (%s). Is it that of this step?", strings.Join(wanted, ", no "), said))
	}
	digest := hex.EncodeToString(w.SHA256[:])
	for i := range m.steps {
		s := &m.plan.Steps[i]
		if s.Path == p.Step.Path || s.Function == feature.KindSharing {
			continue
		}
		for _, had := range m.steps[i].attempts {
			if had.Body.Text("file") == digest {
				ask = append(ask, fmt.Sprintf("This is the recording of %s: is it that of this step, too?", s.Path))
			}
		}
	}
	return ask
}

// analysed reads a waveform's file as the answer says, and analyses it.
func (m *Machine) analysed(s *plan.Step, name, text string, file []byte) (*capture.Waveform, *feature.Analysis, error) {
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
		Instruments: m.start.Recorders(s), Car: carOf(s)})
	return w, found, err
}

// Waveform reads a recorded capture's file as its answer did, to be drawn.
func (m *Machine) Waveform(s *plan.Step, a *Attempt, file []byte) (*capture.Waveform, *feature.Analysis, error) {
	if a.Body.Kind != entry.Capture {
		return nil, nil, fmt.Errorf("entry %d is not a waveform", a.Index)
	}
	return m.analysed(s, a.Body.Text("name"), a.Body.Text("text"), file)
}

func refuseCapture(p Prompt, err error) error {
	var d *diag.Error
	if errors.As(err, &d) && d.Class == diag.ClassBadInput {
		return &Refused{p.Key, d.Error(), d.Hint}
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
	var features, recorders []string
	for _, f := range found.Features {
		features = append(features, featureText(f))
	}
	for _, r := range p.Step.Recorders {
		recorders = append(recorders, r.Channel+" "+m.start.Instruments[r.Role])
	}
	b.AddFamily("channel", roles(found)...)
	b.Add("instrument", p.Meter.ID)
	b.AddFamily("feature", features...)
	j.addTo(&b)
	b.Add("reason", a.Reason)
	b.AddFamily("recorder", recorders...)
	if a.Confirm {
		b.Add("confirmed", "asked back and confirmed")
	}
	return b
}

// roles says which channel of a capture is which.
func roles(found *feature.Analysis) []string {
	var out []string
	for _, r := range found.Roles {
		out = append(out, r.String())
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
