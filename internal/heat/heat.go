// Package heat keeps the account of what a day's tries have put into the
// car's resistors, from the log: the joules, and the wait before the next try.
// A resistor burns by repetition as surely as by one long pulse.
package heat

import (
	"cmp"
	"slices"
	"time"

	"hvproof/internal/plan"
	"hvproof/internal/run"
)

// An Account is one resistor's.
type Account struct {
	Part   string
	Tries  int     // today
	Joules float64 // put in today, at worst
	Watts  float64 // that it sheds; 0 if the car's file does not say
	Last   time.Time
	Held   float64       // J still in it
	Wait   time.Duration // until it is cold; 0 if it is, or if Watts is not known
}

// A try is one recorded attempt that heated a resistor.
type try struct {
	at   time.Time
	heat plan.Heat
	j    float64
}

// Accounts gives the account of every resistor that an attempt of the log
// has heated on the day of now, in now's own place, in the order of the parts'
// first try. The heat held is counted over all days: each attempt adds its
// joules, and the resistor sheds its continuous power until it is cold. An
// attempt that failed counts as all that the resistor survives in one go:
// what it ran into is not known. A rehearsal heats nothing.
func Accounts(h *run.History, now time.Time) []Account {
	var out []Account
	for _, part := range parts(h) {
		if a := account(part, tries(h, part), now); a.Tries > 0 {
			out = append(out, a)
		}
	}
	return out
}

// Hottest gives the account of the resistor that a step heats and that is
// longest from cold; false where all of them are cold, or nobody knows how
// they cool.
func Hottest(h *run.History, s *plan.Step, now time.Time) (Account, bool) {
	var out Account
	for _, heat := range s.Heats {
		if a := account(heat.Part, tries(h, heat.Part), now); a.Wait > out.Wait {
			out = a
		}
	}
	return out, out.Wait > 0
}

// account adds up tries in the order of their times.
func account(part string, list []try, now time.Time) Account {
	a := Account{Part: part}
	for _, t := range list {
		if t.at.After(now) {
			continue
		}
		a.shed(t.at)
		a.Watts, a.Last = t.heat.Watts, t.at
		a.Held += t.j
		if sameDay(t.at, now) {
			a.Tries++
			a.Joules += t.j
		}
	}
	a.shed(now)
	if a.Watts > 0 {
		a.Wait = time.Duration(a.Held / a.Watts * float64(time.Second))
	}
	return a
}

// shed takes off what the resistor gave away since the last try.
func (a *Account) shed(now time.Time) {
	if !a.Last.IsZero() && a.Watts > 0 {
		a.Held = max(0, a.Held-a.Watts*now.Sub(a.Last).Seconds())
	}
}

func sameDay(a, now time.Time) bool {
	y, m, d := a.In(now.Location()).Date()
	ny, nm, nd := now.Date()
	return y == ny && m == nm && d == nd
}

// steps gives every step of a run that heated something.
func steps(h *run.History, show func(s run.StepResult)) {
	for _, m := range h.Runs() {
		if m.Start().Rehearsal {
			continue
		}
		for _, s := range m.Steps() {
			if len(s.Step.Heats) > 0 && len(s.Attempts) > 0 {
				show(s)
			}
		}
	}
}

func parts(h *run.History) []string {
	var out []string
	steps(h, func(s run.StepResult) {
		for _, heat := range s.Step.Heats {
			if !slices.Contains(out, heat.Part) {
				out = append(out, heat.Part)
			}
		}
	})
	return out
}

func tries(h *run.History, part string) []try {
	var out []try
	steps(h, func(s run.StepResult) {
		for _, heat := range s.Step.Heats {
			if heat.Part != part {
				continue
			}
			for _, a := range s.Attempts {
				out = append(out, try{a.Time, heat, joules(heat, a.Decision)})
			}
		}
	})
	slices.SortStableFunc(out, func(a, b try) int { return cmp.Compare(a.at.UnixNano(), b.at.UnixNano()) })
	return out
}

// joules gives what an attempt put in: of one that did not pass, all that the
// resistor survives in one go, if that is known and more.
func joules(h plan.Heat, decision string) float64 {
	if decision == run.Pass || decision == run.Done || decision == run.ConditionalPass {
		return h.Joules
	}
	return max(h.Joules, h.Pulse)
}

// Heated gives the parts that a plan's steps heat.
func Heated(p *plan.Plan) []string {
	var out []string
	for i := range p.Steps {
		for _, h := range p.Steps[i].Heats {
			if !slices.Contains(out, h.Part) {
				out = append(out, h.Part)
			}
		}
	}
	return out
}
