package main

import (
	"fmt"
	"math"
	"time"

	"hvproof/internal/heat"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// hot gives the account of a resistor that the step of a prompt is about to
// heat and that earlier tries have left hot. Who rehearses heats nothing.
func (s *session) hot(m *run.Machine, p run.Prompt) (heat.Account, bool) {
	if p.Step == nil || p.Key != p.Step.Path || len(p.Step.Heats) == 0 || m.Start().Rehearsal || p.Kind == run.AskAgain {
		return heat.Account{}, false
	}
	return heat.Hottest(s.history, p.Step, s.now())
}

// cooling gives the prompt that asks to wait before a resistor is heated again.
func (s *session) cooling(m *run.Machine, p run.Prompt) (run.Prompt, bool) {
	x, hot := s.hot(m, p)
	if hot {
		p.Kind, p.Choices, p.Key, p.Text = run.AskWait, nil, p.Step.Path+":cool", coolText(x, s.now())
		p.Need = time.Duration(math.Ceil(x.Wait.Seconds())) * time.Second
	}
	return p, hot
}

// waited refuses an answer to the prompt of cooling: outside practice this
// machine's clock must agree that it was waited.
func (s *session) waited(m *run.Machine, ask run.Prompt, text string) *run.Refused {
	said, err := quantity.ParseReading(text, quantity.Second)
	if text == "" || err != nil || said.OverRange || said.Side != quantity.Exact {
		return &run.Refused{Key: ask.Key, Message: fmt.Sprintf("%q is not a time", text), Hint: "say how long was waited, such as 20 s"}
	}
	left := time.Duration(0)
	if m.Start().Practice {
		left = ask.Need - time.Duration(said.SI*float64(time.Second))
	} else if x, hot := s.hot(m, m.Next()); hot {
		left = x.Wait
	}
	if left > 0 {
		return &run.Refused{Key: ask.Key, Message: fmt.Sprintf("%.0f s are still to be waited", math.Ceil(left.Seconds())),
			Hint: "a resistor burns by repetition as surely as by one long pulse"}
	}
	return nil
}

// cool asks to wait, and sleeps for nobody.
func (s *session) cool(m *run.Machine, p, ask run.Prompt, d driver) (run.Answer, error) {
	a, err := s.answered(m, ask, d)
	switch {
	case err != nil:
		return a, err
	case a.MakeSafe || a.Leave:
		return s.take(m, p, a, d)
	}
	if refused := s.waited(m, ask, a.Text); refused != nil {
		return a, d.refused(ask, a, refused)
	}
	s.cooled = coolKey(m, p)
	return a, nil
}

// coolKey tells one attempt from every other.
func coolKey(m *run.Machine, p run.Prompt) string {
	return fmt.Sprint(m.ID(), " ", p.Key, " ", p.Attempt)
}

func coolText(x heat.Account, now time.Time) string {
	joules := quantity.Format(quantity.Value{SI: x.Held, Dim: quantity.Joule}, 3, quantity.RoundUp)
	return fmt.Sprintf("Wait %.0f s, until %s: %s of earlier tries are still in the %s resistor. How long was waited?",
		math.Ceil(x.Wait.Seconds()), now.Add(x.Wait).Format("15:04:05"), joules, x.Part)
}
