package plot

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"unicode/utf8"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// signs draw the curves where there is only type: what was measured lies over
// a fit, so that a fit shows where it differs.
var signs = map[Style]rune{Solid: '*', Grey: 'o', Thin: 'x', Dashed: '+', Dotted: '~'}

const (
	margin    = 9  // characters for the values of an axis
	rightHand = 12 // characters for the names of levels
	panelRows = 12
)

// Characters draws the chart with characters, for a terminal or a printer of
// text: lines of at most width of them (40 at least), without line ends.
func (c Chart) Characters(width int) []string {
	columns := max(width, 40) - margin - rightHand
	out := []string{clip(diag.Printable(c.Title), width)}
	lo, hi := c.times()
	x := newAxis(lo, hi, quantity.Second, "time", 4)
	x.from, x.to = 0, float64(columns-1)
	number := 0
	for _, p := range c.Panels {
		out = append(out, p.characters(x, columns, width, &number)...)
	}
	return out
}

// A sheet is rows of characters of one panel, with what stands right of them.
type sheet struct {
	rows  [][]rune
	right []string
}

func (s *sheet) put(x, y float64, sign rune) {
	i, j := int(math.Round(y)), int(math.Round(x))
	if i >= 0 && i < len(s.rows) && j >= 0 && j < len(s.rows[i]) {
		s.rows[i][j] = sign
	}
}

func (p Panel) characters(x axis, columns, width int, number *int) []string {
	lo, hi := p.values()
	v := newAxis(lo, hi, p.Dim, dimensionName(p.Dim), 4)
	v.from, v.to = panelRows-1, 0
	s := sheet{right: make([]string, panelRows)}
	for range panelRows {
		s.rows = append(s.rows, []rune(strings.Repeat(" ", columns)))
	}
	for _, l := range p.Levels {
		for i := range columns {
			s.put(float64(i), v.at(l.Y), '-')
		}
		at := min(max(int(math.Round(v.at(l.Y))), 0), panelRows-1)
		s.right[at] = strings.TrimPrefix(s.right[at]+", "+l.Text, ", ")
	}
	for i := len(p.Series) - 1; i >= 0; i-- {
		p.Series[i].characters(&s, x, v)
	}
	var told []string
	for _, m := range p.Marks {
		*number++
		s.put(x.at(m.X), v.at(math.Max(lo, math.Min(hi, m.Y))), []rune(strconv.Itoa(*number))[0])
		told = append(told, clip(m.said(*number), width-margin))
	}
	return append(p.framed(&s, x, v, columns), indented(append(told, p.signed(width-margin)...))...)
}

// characters puts a curve on the sheet, between two samples as well.
func (c Series) characters(s *sheet, x, v axis) {
	for i, q := range c.Points {
		if math.IsNaN(q.Y) || math.IsInf(q.Y, 0) {
			continue
		}
		s.put(x.at(q.X), v.at(q.Y), signs[c.Style])
		if i == 0 || math.IsNaN(c.Points[i-1].Y) {
			continue
		}
		from, to := Point{x.at(c.Points[i-1].X), v.at(c.Points[i-1].Y)}, Point{x.at(q.X), v.at(q.Y)}
		steps := math.Min(math.Max(math.Abs(to.X-from.X), math.Abs(to.Y-from.Y)), 500)
		for k := 1.0; k < steps; k++ {
			s.put(from.X+(to.X-from.X)*k/steps, from.Y+(to.Y-from.Y)*k/steps, signs[c.Style])
		}
	}
}

// framed adds the axes.
func (p Panel) framed(s *sheet, x, v axis, columns int) []string {
	names := make([]string, panelRows)
	for _, t := range v.ticks {
		if at := int(math.Round(v.at(t))); at >= 0 && at < panelRows {
			names[at] = v.name(t)
		}
	}
	out := []string{v.label}
	for i, r := range s.rows {
		out = append(out, strings.TrimRight(fmt.Sprintf("%*s |%s %s", margin-2, names[i], string(r), clip(s.right[i], rightHand-1)), " "))
	}
	under := []rune(strings.Repeat(" ", columns+rightHand))
	for _, t := range x.ticks {
		name := []rune(x.name(t))
		at := max(int(math.Round(x.at(t)))-len(name)/2, 0)
		copy(under[min(at, columns):], name)
	}
	return append(out, strings.Repeat(" ", margin-1)+"+"+strings.Repeat("-", columns),
		strings.TrimRight(strings.Repeat(" ", margin)+string(under[:columns]), " ")+"  "+x.label)
}

// signed says which sign is which curve.
func (p Panel) signed(width int) []string {
	var out []string
	for _, c := range p.Series {
		out = append(out, clip(fmt.Sprintf("%c  %s", signs[c.Style], diag.Printable(c.Name)), width))
	}
	return out
}

func indented(lines []string) []string {
	for i := range lines {
		lines[i] = strings.Repeat(" ", margin) + lines[i]
	}
	return lines
}

// clip shortens a text to so many characters.
func clip(text string, most int) string {
	if utf8.RuneCountInString(text) <= most {
		return text
	}
	return string([]rune(text)[:max(most-1, 0)]) + "…"
}
