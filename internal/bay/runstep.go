package bay

import (
	"math"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

type bound struct {
	Text, Formula, Substituted, Rules, Source, ID string
	Inputs                                        []input
}

type input struct{ Name, Value string }

// aboutStep adds what the step says of itself: expected value, limits, meter,
// leads, and every attempt so far.
func (s *Server) aboutStep(v *runView, m *run.Machine, p run.Prompt, steps []run.StepResult) {
	st := p.Step
	v.Path, v.Purpose, v.Source = st.Path, st.Purpose, st.Source
	if p.Kind == run.AskWitness || p.Kind == run.AskAgain {
		v.Purpose = st.Text
	}
	i, _ := m.Plan().Step(st.Path)
	after := reasonsOf(m)
	for k := range steps[i].Attempts {
		a := attemptOf(steps[i], k)
		a.After = after[a.Index]
		v.Attempts = append(v.Attempts, a)
	}
	for _, b := range st.Bounds {
		switch {
		case b.Kind == quantity.Expected:
			v.Windows = append(v.Windows, s.boundOf(b))
		case b.Governs:
			v.Limits = append(v.Limits, s.boundOf(b))
		default:
			v.Others = append(v.Others, s.boundOf(b))
		}
	}
	switch p.Kind {
	case run.AskReading, run.AskCapture:
		s.aboutMeter(v, m, p, steps)
	case run.AskWait:
		v.Units = unitsOf(quantity.Second)
		left := p.Need
		if p.Key == st.Path {
			left -= s.desk.car.Now().Sub(m.Ended())
		}
		v.Wait = quantity.Value{SI: p.Need.Seconds(), Dim: quantity.Second}.String()
		v.WaitLeft = max(0, int(math.Ceil(left.Seconds())))
	}
}

func (s *Server) aboutMeter(v *runView, m *run.Machine, p run.Prompt, steps []run.StepResult) {
	st := p.Step
	if p.Kind == run.AskReading {
		v.Units, v.Sign, v.OnScreen = unitsOf(st.Dim), true, p.OnScreen
	}
	for _, c := range st.Channels {
		v.Notes = append(v.Notes, c.Role+" = "+c.Column)
	}
	if p.Meter != nil {
		v.Meter = p.Meter.ID
		if p.Meter.Kind != "" {
			v.Meter += ", " + p.Meter.Kind
		}
		if p.Meter.Category != "" {
			v.Meter += ", " + p.Meter.Category
		}
	}
	if p.Function != nil && p.Kind == run.AskReading {
		v.Reads = strings.ReplaceAll(p.Function.Name, "_", " ")
		for _, extra := range []string{st.Method, st.Stimulus} {
			if extra != "" {
				v.Reads += ", " + extra
			}
		}
		for _, r := range p.Function.Ranges {
			v.Ranges = append(v.Ranges, quantity.Value{SI: r.To, Dim: p.Function.Dim}.String())
		}
	}
	v.Leads = s.leads(st, steps)
	for _, o := range p.Outlook {
		if o.Why != "" {
			v.Notes = append(v.Notes, o.Why)
		}
	}
}

// leads tells whether the leads of the step's instrument were proved in this
// run.
func (s *Server) leads(st *plan.Step, steps []run.StepResult) string {
	switch st.LeadCheck {
	case plan.Before:
		return s.words.say("leads this before")
	case plan.After:
		return s.words.say("leads this after")
	}
	found := s.words.say("leads role", "role", strings.ReplaceAll(st.Role, "_", " "))
	for _, other := range steps {
		if other.Step.Path == st.Path {
			break
		}
		if other.Step.LeadCheck == plan.Before && other.Step.Role == st.Role && other.Last() != nil && !isBad(other.Decision) {
			found = s.words.say("leads proved", "role", strings.ReplaceAll(st.Role, "_", " "), "path", other.Step.Path)
		}
	}
	return found
}

func (s *Server) boundOf(b plan.Bound) bound {
	text := s.words.bound(b.Bound)
	if b.Feature != "" {
		text = strings.ReplaceAll(b.Feature, "_", " ") + " " + text
	}
	out := bound{Text: text, Formula: b.Formula, Substituted: b.Substituted, Rules: b.Rules, Source: b.Source, ID: b.ID}
	if out.Substituted == out.Formula {
		out.Substituted = ""
	}
	for _, in := range b.Inputs {
		out.Inputs = append(out.Inputs, input{in.Name, quantity.Range{Lo: in.Lo, Nominal: in.Lo, Hi: in.Hi, Dim: in.Dim}.String()})
	}
	return out
}
