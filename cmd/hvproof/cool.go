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

// cool asks to wait before a resistor is heated again, and sleeps for nobody.
// Outside practice this machine's clock must agree that it was waited.
func (s *session) cool(m *run.Machine, p run.Prompt, d driver, x heat.Account) (run.Answer, error) {
	ask := p
	ask.Kind, ask.Key, ask.Choices = run.AskWait, p.Step.Path+":cool", nil
	ask.Text = coolText(x, s.now())
	ask.Need = x.Wait
	a, err := s.answered(m, ask, d)
	if err != nil || a.MakeSafe || a.Leave {
		if err == nil {
			a, err = s.take(m, p, a, d)
		}
		return a, err
	}
	waited, err := quantity.ParseReading(a.Text, quantity.Second)
	if a.Text == "" || err != nil || waited.OverRange || waited.Side != quantity.Exact {
		return a, d.refused(ask, a, &run.Refused{Key: ask.Key, Message: fmt.Sprintf("%q is not a time", a.Text), Hint: "say how long was waited, such as 20 s"})
	}
	left := x.Wait
	if m.Start().Practice {
		left -= time.Duration(waited.SI * float64(time.Second))
	} else if now, hot := s.hot(m, p); hot {
		left = now.Wait
	} else {
		left = 0
	}
	if left > 0 {
		return a, d.refused(ask, a, &run.Refused{Key: ask.Key, Message: fmt.Sprintf("%.0f s are still to be waited", math.Ceil(left.Seconds())),
			Hint: "a resistor burns by repetition as surely as by one long pulse"})
	}
	s.cooled = coolKey(m, p)
	return a, nil
}

// coolKey tells one attempt from every other.
func coolKey(m *run.Machine, p run.Prompt) string { return fmt.Sprint(m.ID(), " ", p.Key, " ", p.Attempt) }

func coolText(x heat.Account, now time.Time) string {
	joules := quantity.Format(quantity.Value{SI: x.Held, Dim: quantity.Joule}, 3, quantity.RoundUp)
	return fmt.Sprintf("Wait %.0f s, until %s: %s of earlier tries are still in the %s resistor. How long was waited?",
		math.Ceil(x.Wait.Seconds()), now.Add(x.Wait).Format("15:04:05"), joules, x.Part)
}
