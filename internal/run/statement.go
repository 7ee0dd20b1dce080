package run

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"hvproof/internal/entry"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// statement records the answer to a confirm or observe step.
func (m *Machine) statement(p Prompt, a Answer) ([]entry.Body, error) {
	s, word := p.Step, normal(a.Text)
	if word == "" {
		return nil, &Refused{p.Key, "nothing was said", "type " + choices(s.Choices)}
	}
	if len(s.Choices) > 0 && !slices.ContainsFunc(s.Choices, func(c string) bool { return normal(c) == word }) {
		return nil, &Refused{p.Key, fmt.Sprintf("%q is not one of the states", a.Text), "type " + choices(s.Choices)}
	}
	b := m.body(p)
	b.Kind = entry.Statement
	b.Add("attempt", fmt.Sprint(p.Attempt))
	b.Add("action", s.Kind)
	b.Add("text", strings.TrimSpace(a.Text))
	b.Add("expect", s.Expect)
	decision := Done
	if s.Expect != "" && s.Kind == plan.Observe {
		decision = Pass
	}
	if s.Expect != "" && normal(s.Expect) != word {
		decision = Fail
	}
	b.Add("decision", decision)
	b.Add("reason", a.Reason)
	return one(b), nil
}

// stateAnswer records the state of the car, said in words.
func (m *Machine) stateAnswer(p Prompt, a Answer) ([]entry.Body, error) {
	b := m.body(p)
	b.Kind = entry.State
	if p.Kind == AskResume {
		b.Kind, b.Path = entry.Resume, ""
	}
	said := strings.TrimSpace(a.Text)
	if utf8.RuneCountInString(said) < 3 {
		return nil, &Refused{p.Key, "the state of the car was not said", "say " + stateWords(p.State)}
	}
	got := readState(said, p.State)
	if p.Kind == AskState || (m.plan.Live && len(p.State) > 0) {
		for _, want := range p.State {
			v, ok := got[normal(want.Name)]
			if !ok && len(p.State) == 1 && len(got) == 0 {
				v, ok = normal(said), true // a value of several words
			}
			if !ok {
				return nil, &Refused{p.Key, fmt.Sprintf("%s was not said", spaced(want.Name)), "say " + stateWords(p.State)}
			}
			if v != normal(want.Value) {
				return nil, &Refused{p.Key, fmt.Sprintf("%s is %q, and this step needs %q", spaced(want.Name), v, want.Value),
					"bring the car to that state and look again, or stop and make safe"}
			}
		}
	}
	var states []string
	for _, st := range p.State {
		v, ok := got[normal(st.Name)]
		if p.Kind == AskState || (ok && v == normal(st.Value)) {
			states = append(states, st.Name+" "+st.Value)
		}
	}
	b.AddFamily("state", states...)
	b.Add("text", said)
	return one(b), nil
}

// readState reads "packs out, service disconnect: open" into names and
// values, or, for the states asked, their values alone in the order asked:
// "out, open". A part without a known shape is left out.
func readState(text string, asked []plan.State) map[string]string {
	out := map[string]string{}
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ';' || r == '\n' })
	if len(parts) == len(asked) && !strings.Contains(text, ":") {
		for i, p := range parts {
			if len(strings.Fields(p)) == 1 {
				out[normal(asked[i].Name)] = normal(p)
			}
		}
	}
	if len(out) == len(parts) {
		return out
	}
	for _, part := range parts {
		name, value, ok := strings.Cut(part, ":")
		if !ok {
			words := strings.Fields(part)
			if len(words) < 2 {
				continue
			}
			name, value = strings.Join(words[:len(words)-1], "_"), words[len(words)-1]
		}
		out[strings.ReplaceAll(normal(name), " ", "_")] = normal(value)
	}
	return out
}

func spaced(name string) string { return strings.ReplaceAll(name, "_", " ") }

func stateWords(states []plan.State) string {
	if len(states) == 0 {
		return "what you see"
	}
	var parts []string
	for _, s := range states {
		parts = append(parts, s.Name+": "+s.Value)
	}
	return strings.Join(parts, ", ")
}

// ambientAnswer records temperature, humidity and wetness.
func (m *Machine) ambientAnswer(p Prompt, a Answer) ([]entry.Body, error) {
	b := entry.Body{Run: m.id, Kind: entry.Ambient}
	hint := "for example: 17 °C, 62 %, dry"
	fields := strings.FieldsFunc(a.Text, func(r rune) bool { return r == ',' || r == ';' })
	if len(fields) != 3 {
		return nil, &Refused{p.Key, "temperature, humidity, and wet or dry are wanted", hint}
	}
	t, err := quantity.Parse(strings.TrimSpace(fields[0]))
	if err != nil || t.Dim != quantity.Kelvin || t.SI < 233 || t.SI > 333 {
		return nil, &Refused{p.Key, fmt.Sprintf("%q is not an air temperature", strings.TrimSpace(fields[0])), hint}
	}
	h, err := quantity.Parse(strings.TrimSpace(fields[1]))
	if err != nil || h.Dim != quantity.One || h.SI < 0 || h.SI > 1 {
		return nil, &Refused{p.Key, fmt.Sprintf("%q is not a relative humidity", strings.TrimSpace(fields[1])), hint}
	}
	wet := normal(fields[2])
	if wet != "wet" && wet != "dry" {
		return nil, &Refused{p.Key, fmt.Sprintf("%q is neither wet nor dry", strings.TrimSpace(fields[2])), hint}
	}
	b.AddNumber("temperature", t.SI)
	b.AddNumber("humidity", h.SI)
	b.Add("surface", wet)
	b.Add("text", a.Text)
	return one(b), nil
}

// wait records that the time has passed. Outside practice the program's
// clock must agree that at least so long has passed since the last entry.
func (m *Machine) wait(p Prompt, a Answer) ([]entry.Body, error) {
	r, err := quantity.ParseReading(a.Text, quantity.Second)
	if err != nil {
		return nil, refuseReading(p, err)
	}
	need := quantity.Value{SI: p.Step.Seconds, Dim: quantity.Second}
	switch {
	case r.OverRange || r.Side == quantity.Below || r.SI < need.SI:
		return nil, &Refused{p.Key, fmt.Sprintf("%s is less than the %s to be waited", a.Text, need), "wait until the time has passed"}
	case !m.start.Practice && !m.start.Rehearsal && a.At.Sub(m.last).Seconds() < need.SI:
		return nil, &Refused{p.Key, fmt.Sprintf("by this machine's clock less than %s has passed since the last entry", need), "wait until the time has passed"}
	}
	b := m.body(p)
	b.Kind = entry.Wait
	b.AddNumber("seconds", need.SI)
	b.AddNumber("waited", r.SI)
	b.Add("text", strings.TrimSpace(a.Text))
	return one(b), nil
}
