package feature

import (
	"hvproof/internal/capture"
	"hvproof/internal/plot"
	"hvproof/internal/quantity"
)

// drawn is the number of points of a curve that is drawn, with least and
// greatest values kept. Own choice, no source: finer than a printed page shows.
const drawn = 2000

// Chart gives the drawing of a capture with what was found in it: one panel
// for each unit, the first with fit, limits and marks.
func Chart(title string, w *capture.Waveform, a *Analysis) plot.Chart {
	return chart(title, w, a, points)
}

func chart(title string, w *capture.Waveform, a *Analysis, points func(*capture.Channel) []plot.Point) plot.Chart {
	c := plot.Chart{Title: title}
	panels := map[quantity.Dim]int{}
	styles := []plot.Style{plot.Solid, plot.Grey, plot.Thin}
	for _, name := range a.Picture.Shown {
		for _, role := range a.Roles {
			if role.Role != name {
				continue
			}
			ch := &w.Channels[role.Index]
			dim := ch.Dim
			if dim == quantity.One {
				dim = assumed(role.Role)
			}
			at, ok := panels[dim]
			if !ok {
				at = len(c.Panels)
				panels[dim] = at
				c.Panels = append(c.Panels, plot.Panel{Dim: dim})
			}
			p := &c.Panels[at]
			p.Series = append(p.Series, plot.Series{Name: role.Role + " (" + ch.Name + ")", Style: styles[min(len(p.Series), len(styles)-1)], Points: points(ch)})
		}
	}
	if len(c.Panels) == 0 {
		return c
	}
	first := &c.Panels[0]
	for i, curve := range a.Picture.Curves {
		first.Series = append(first.Series, plot.Series{Name: curve.Name, Style: []plot.Style{plot.Dashed, plot.Dotted}[min(i, 1)], Points: sampled(curve)})
	}
	for _, l := range a.Picture.Levels {
		first.Levels = append(first.Levels, plot.Level{Y: l.Y, Text: l.Text})
	}
	for _, m := range a.Picture.Marks {
		first.Marks = append(first.Marks, plot.Mark{X: m.T, Y: m.Y, Text: m.Text})
	}
	return c
}

// assumed gives the unit that a channel without one is taken in.
func assumed(role string) quantity.Dim {
	switch baseRole(role) {
	case RoleLink, RolePack:
		return quantity.Volt
	case RoleCurrent:
		return quantity.Ampere
	}
	return quantity.One
}

func points(ch *capture.Channel) []plot.Point {
	var out []plot.Point
	for _, i := range capture.Decimate(ch.V, drawn) {
		out = append(out, plot.Point{X: ch.Axis.At(i), Y: ch.V[i]})
	}
	return out
}

func sampled(c Curve) []plot.Point {
	const n = 200
	out := make([]plot.Point, 0, n+1)
	for i := range n + 1 {
		t := c.From + (c.To-c.From)*float64(i)/n
		out = append(out, plot.Point{X: t, Y: c.At(t)})
	}
	return out
}

// Guess tells what kind of capture a waveform may be, from its channels and
// from where its link goes; "" if nothing speaks for one.
func Guess(w *capture.Waveform, r Request) string {
	for _, kind := range []string{KindEmergencyOff, KindSharing, KindPrecharge, KindCoil} {
		r.Kind = kind
		roles, _, err := assign(w, r)
		if err != nil {
			continue
		}
		have := map[string]bool{}
		for _, x := range roles {
			have[x.Role] = have[x.Role] || x.From != "only channel"
		}
		switch {
		case kind == KindEmergencyOff && have[RoleTrip], kind == KindSharing, kind == KindCoil && have[RoleCoil]:
			return kind
		case kind == KindPrecharge:
			return guessLink(w, roles)
		}
	}
	return ""
}

// guessLink tells a rising link from a falling one.
func guessLink(w *capture.Waveform, roles []Role) string {
	for _, x := range roles {
		if x.Role != RoleLink {
			continue
		}
		t := &trace{ch: &w.Channels[x.Index]}
		t.s.Y = t.ch.V
		lo, hi := t.limits()
		n := t.s.Len()
		first, _, ok1 := t.level(0, max(3, n/50))
		last, _, ok2 := t.level(n-max(3, n/50), n)
		switch {
		case !ok1 || !ok2:
		case last-first > (hi-lo)/2:
			return KindPrecharge
		case first-last > (hi-lo)/2:
			return KindDischarge
		}
	}
	return ""
}
