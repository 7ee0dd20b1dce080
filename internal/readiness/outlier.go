package readiness

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"hvproof/internal/plan"
	"hvproof/internal/quantity"
)

// An Outlier is a reading far from its siblings, though it passes.
type Outlier struct {
	*Trend
	Median float64
	Before *Point // of the baseline, where that is another reading
}

// Outliers gives the newest readings that are far from those of the same step
// at the other items of their loop, where the same limits hold: a bolt with
// another torque is no sibling. Far is a modified z-score above 3.5
// (Iglewicz and Hoaglin, as in the NIST/SEMATECH e-Handbook 1.3.5.17; from
// memory), of at least five siblings, and further than the meters leave open.
func Outliers(trends []*Trend) []Outlier {
	groups := map[string][]*Trend{}
	var order []string
	for _, t := range trends {
		item := t.Step.Item()
		if item == plan.Frame || t.Points[len(t.Points)-1].Bound != "" {
			continue
		}
		outer := ""
		if n := len(t.Step.Items); n > 1 {
			outer = t.Step.Items[n-2]
		}
		key := t.Procedure + " " + outer + " " + strings.TrimPrefix(t.Path, item) + limited(t.Step)
		if groups[key] == nil {
			order = append(order, key)
		}
		groups[key] = append(groups[key], t)
	}
	var out []Outlier
	for _, key := range order {
		g := groups[key]
		if len(g) < 5 {
			continue
		}
		var xs []float64
		for _, t := range g {
			xs = append(xs, t.Points[len(t.Points)-1].Value)
		}
		mid := median(xs)
		var away []float64
		for _, x := range xs {
			away = append(away, math.Abs(x-mid))
		}
		spread := median(away)
		for i, t := range g {
			if d := math.Abs(xs[i] - mid); d > 2*t.Points[len(t.Points)-1].U && 0.6745*d > 3.5*spread {
				o := Outlier{Trend: t, Median: mid}
				if t.Named != nil && t.Base < len(t.Points)-1 {
					o.Before = &t.Points[t.Base]
				}
				out = append(out, o)
			}
		}
	}
	return out
}

// limited gives the limits of a step, whoever sets them. Windows are left out:
// they are of each item by nature.
func limited(s *plan.Step) string {
	var out []string
	for _, b := range s.Bounds {
		if b.Kind != quantity.Expected {
			out = append(out, fmt.Sprintf(" %s %s %g %g", b.Feature, b.Kind, b.Low, b.High))
		}
	}
	slices.Sort(out)
	return strings.Join(out, "")
}

func median(xs []float64) float64 {
	s := slices.Sorted(slices.Values(xs))
	n := len(s)
	if n%2 == 1 {
		return s[n/2]
	}
	return (s[n/2-1] + s[n/2]) / 2
}

// Sentence says it in words.
func (o Outlier) Sentence() string {
	p := o.Points[len(o.Points)-1]
	s := fmt.Sprintf("%s, %s: %s, and its siblings are about %s", o.Procedure, o.Path, value(p, o.Step), quantity.Value{SI: o.Median, Dim: o.Step.Dim})
	if o.Before != nil {
		s += fmt.Sprintf("; at %s it was %s", o.since(), value(*o.Before, o.Step))
	}
	return s
}
