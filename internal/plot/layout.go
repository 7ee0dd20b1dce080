package plot

import (
	"math"
	"sort"
	"strconv"
	"unicode/utf8"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// The layout, in points.
const (
	small      = 8.5 // text
	normalSize = 10
	left       = 52
	right      = 78
	top        = 24
	below      = 32 // of a panel, for the ticks and the axis' name
	gap        = 12
	row        = 11.5 // of the list of marks
)

// The measured curve is wide and grey, so that a black fit shows on it.
var (
	dashes = map[Style][]float64{Dashed: {5, 3}, Dotted: {1.2, 2.4}}
	widths = map[Style]float64{Solid: 2, Grey: 0.9, Thin: 0.5, Dashed: 0.9, Dotted: 1.1}
	greys  = map[Style]float64{Solid: 0.55, Grey: 0.3, Thin: 0.2}
)

// Draw lays the chart out on a page of a width and at most a height in points.
func (c Chart) Draw(width, height float64) Drawing {
	d := Drawing{Width: width, Height: height, Title: c.Title, Words: c.Words()}
	d.Texts = append(d.Texts, Text{X: left, Y: 14, Size: normalSize, Bold: true, Text: cut(c.Title, width-left, normalSize)})
	lo, hi := c.times()
	x := newAxis(lo, hi, quantity.Second, "time", 8)
	x.from, x.to = left, width-right
	marks := 0.0
	for _, p := range c.Panels {
		marks += float64(len(p.Marks)) + p.legend(&Drawing{Width: width}, 0)/row
	}
	free := height - top - float64(len(c.Panels))*(below+gap) - marks*row
	each := math.Max(40, free/math.Max(1, float64(len(c.Panels))))
	y, number := float64(top), 0
	for _, p := range c.Panels {
		y = p.draw(&d, x, y, each, &number)
	}
	d.Height = math.Min(height, y-gap)
	return d
}

// times gives the span of all curves.
func (c Chart) times() (lo, hi float64) {
	if c.From < c.To {
		return c.From, c.To
	}
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, p := range c.Panels {
		for _, s := range p.Series {
			for _, q := range s.Points {
				lo, hi = math.Min(lo, q.X), math.Max(hi, q.X)
			}
		}
	}
	if lo > hi {
		return 0, 1
	}
	return lo, hi
}

// values gives the span of a panel's curves, levels and marks.
func (p Panel) values() (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	take := func(y float64) {
		if !math.IsNaN(y) && !math.IsInf(y, 0) {
			lo, hi = math.Min(lo, y), math.Max(hi, y)
		}
	}
	for _, s := range p.Series {
		if s.Style == Dashed || s.Style == Dotted {
			continue // a fit does not stretch the scale
		}
		for _, q := range s.Points {
			take(q.Y)
		}
	}
	for _, l := range p.Levels {
		take(l.Y)
	}
	if lo > hi {
		return 0, 1
	}
	room := 0.04 * (hi - lo)
	return lo - room, hi + room
}

// draw lays one panel out at y and gives where the next may begin.
func (p Panel) draw(d *Drawing, x axis, y, height float64, number *int) float64 {
	lo, hi := p.values()
	v := newAxis(lo, hi, p.Dim, dimensionName(p.Dim), max(3, int(height/30)))
	v.from, v.to = y+height, y
	p.frame(d, x, v)
	for _, s := range p.Series {
		drawSeries(d, s, x, v)
	}
	p.levels(d, x, v)
	at := y + height + below
	for _, m := range p.Marks {
		*number++
		if x.lo <= m.X && m.X <= x.hi { // else it is told of below, with its time
			circle(d, x.at(m.X), v.at(math.Max(lo, math.Min(hi, m.Y))), strconv.Itoa(*number))
		}
		d.text(left, at, small, Start, cut(m.said(*number), d.Width-left, small))
		at += row
	}
	return p.legend(d, at) + gap
}

func dimensionName(dim quantity.Dim) string {
	switch dim {
	case quantity.Volt:
		return "voltage"
	case quantity.Ampere:
		return "current"
	}
	return "value"
}

// frame draws grid, ticks and names of the axes.
func (p Panel) frame(d *Drawing, x, v axis) {
	for _, t := range x.ticks {
		d.line(0.4, 0.85, nil, Point{x.at(t), v.from}, Point{x.at(t), v.to})
		d.text(x.at(t), v.from+11, small, Middle, x.name(t))
	}
	for _, t := range v.ticks {
		d.line(0.4, 0.85, nil, Point{x.from, v.at(t)}, Point{x.to, v.at(t)})
		d.text(x.from-4, v.at(t)+3, small, End, v.name(t))
	}
	d.Lines = append(d.Lines, Line{Points: []Point{{x.from, v.from}, {x.to, v.from}, {x.to, v.to}, {x.from, v.to}}, Width: 0.6, Closed: true})
	d.text(x.to, v.from+22, small, End, x.label)
	d.text(4, v.to-4, small, Start, v.label)
}

// drawSeries draws a curve, in pieces where it has gaps or leaves the panel.
func drawSeries(d *Drawing, s Series, x, v axis) {
	var piece []Point
	flush := func() {
		if len(piece) > 1 {
			d.line(widths[s.Style], greys[s.Style], dashes[s.Style], piece...)
		}
		piece = nil
	}
	for _, q := range s.Points {
		if math.IsNaN(q.Y) || q.Y < v.lo || q.Y > v.hi || q.X < x.lo || q.X > x.hi {
			flush()
			continue
		}
		piece = append(piece, Point{x.at(q.X), v.at(q.Y)})
	}
	flush()
}

// levels draws limit lines, their names in the right margin, none over
// another.
func (p Panel) levels(d *Drawing, x, v axis) {
	all := append([]Level(nil), p.Levels...)
	sort.SliceStable(all, func(i, j int) bool { return all[i].Y > all[j].Y })
	last := math.Inf(-1)
	for _, l := range all {
		y := v.at(l.Y)
		d.line(0.7, 0, []float64{8, 2, 1.5, 2}, Point{x.from, y}, Point{x.to, y})
		at := math.Max(y+3, last+row-1)
		d.text(x.to+4, at, small, Start, cut(l.Text, right-4, small))
		last = at
	}
}

// legend names the curves below the panel, each after a piece of its line, and
// gives where the next line would stand.
func (p Panel) legend(d *Drawing, y float64) float64 {
	const sample = 26
	at := float64(left)
	for _, s := range p.Series {
		name := cut(s.Name, d.Width-left-sample, small)
		if at > left && at+sample+wide(name, small) > d.Width {
			at, y = left, y+row
		}
		d.line(widths[s.Style]+0.2, greys[s.Style], dashes[s.Style], Point{at, y - 3}, Point{at + 22, y - 3})
		d.text(at+sample, y, small, Start, name)
		at += sample + 14 + wide(name, small)
	}
	return y + row
}

// wide is about as wide as a text of that size is; which font prints it is not
// known here.
func wide(text string, size float64) float64 {
	return 0.58 * size * float64(utf8.RuneCountInString(text))
}

// cut shortens a text to a width, with a mark that something is missing.
func cut(text string, width, size float64) string {
	text = diag.Printable(text)
	if wide(text, size) <= width {
		return text
	}
	return string([]rune(text)[:int(width/0.58/size)-1]) + "…"
}

// circle draws a numbered mark.
func circle(d *Drawing, x, y float64, text string) {
	const r, corners = 5.5, 20
	var points []Point
	for i := range corners {
		s, c := math.Sincos(2 * math.Pi * float64(i) / corners)
		points = append(points, Point{x + r*c, y + r*s})
	}
	d.Lines = append(d.Lines, Line{Points: points, Width: 0.8, Closed: true, Fill: true})
	d.text(x, y+2.6, 7.5, Middle, text)
}
