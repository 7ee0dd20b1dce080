package main

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"hvproof/internal/heat"
	"hvproof/internal/quantity"
)

// heatDocument is what today's tries have put into a resistor.
type heatDocument struct {
	Part  string            `json:"part"`
	Tries int               `json:"tries"`
	Put   *quantityDocument `json:"put"`            // J, today
	Held  *quantityDocument `json:"held"`           // J, still in it
	Wait  *quantityDocument `json:"wait,omitempty"` // s, until it is cold; absent if it is not known how it cools
}

// heatToday gives the accounts of the folder's log, of the parts named. A
// folder without a log has none. It verifies the log, as everything does that
// concludes from it: so plan tells it, and check, which reads files only, does
// not.
func (a *app) heatToday(ctx context.Context, now time.Time, parts []string) ([]heat.Account, error) {
	s, err := a.read(ctx)
	if err == errNoLog {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer s.close()
	accounts := heat.Accounts(s.history, now)
	return slices.DeleteFunc(accounts, func(x heat.Account) bool { return !slices.Contains(parts, x.Part) }), nil
}

// heatLine words an account.
func heatLine(x heat.Account) string {
	joules := func(j float64) string {
		return quantity.Format(quantity.Value{SI: j, Dim: quantity.Joule}, 4, quantity.RoundUp)
	}
	tries := "1 try"
	if x.Tries != 1 {
		tries = fmt.Sprintf("%d tries", x.Tries)
	}
	out := fmt.Sprintf("%s resistor: %s put in today, %s, last at %s; ", x.Part, joules(x.Joules), tries, x.Last.Format("15:04:05"))
	switch {
	case x.Watts == 0:
		return out + "how fast it cools is not known, " + x.Part + ".continuous_power is missing in vehicle.yaml"
	case x.Wait <= 0:
		return out + "cold again, no wait before the next"
	}
	return out + fmt.Sprintf("wait %.0f s before the next, %s are still in it", math.Ceil(x.Wait.Seconds()), joules(x.Held))
}

func heatJSON(accounts []heat.Account) []heatDocument {
	out := []heatDocument{}
	for _, x := range accounts {
		d := heatDocument{Part: x.Part, Tries: x.Tries, Put: quantityJSON(x.Joules, quantity.Joule), Held: quantityJSON(x.Held, quantity.Joule)}
		if x.Watts > 0 {
			d.Wait = quantityJSON(x.Wait.Seconds(), quantity.Second)
		}
		out = append(out, d)
	}
	return out
}
