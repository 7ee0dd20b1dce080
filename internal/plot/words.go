package plot

import (
	"fmt"
	"strings"

	"hvproof/internal/quantity"
)

// Words says what the chart shows to those who cannot see it.
func (c Chart) Words() string {
	lo, hi := c.times()
	out := []string{fmt.Sprintf("%s, from %s to %s", c.Title, seconds(lo), seconds(hi))}
	number := 0
	for _, p := range c.Panels {
		var curves, levels, marks []string
		for _, s := range p.Series {
			curves = append(curves, s.Name)
		}
		for _, l := range p.Levels {
			levels = append(levels, l.Text)
		}
		for _, m := range p.Marks {
			number++
			marks = append(marks, m.said(number))
		}
		out = append(out, dimensionName(p.Dim)+" over time of "+strings.Join(curves, ", "))
		if len(levels) > 0 {
			out = append(out, "levels: "+strings.Join(levels, ", "))
		}
		if len(marks) > 0 {
			out = append(out, "marks: "+strings.Join(marks, "; "))
		}
	}
	return strings.Join(out, ". ") + "."
}

func seconds(t float64) string {
	return quantity.Format(quantity.Value{SI: t, Dim: quantity.Second}, 4, quantity.RoundNearest)
}
