package pdf

import (
	"fmt"

	"hvproof/internal/plot"
)

const pt = 25.4 / 72 // of a point, in mm

// A waveform is drawn so high, in points, with the lists of its curves and marks,
// and so much higher for each panel after the first.
const (
	chartHeight = 250
	panelHeight = 110
)

// chart draws a waveform as lines and texts, of which none is a picture: it can
// be enlarged, and its words can be searched.
func (p *printer) chart(c *plot.Chart, x, w float64) row {
	d := c.Draw(w/pt, chartHeight+panelHeight*float64(max(len(c.Panels), 1)-1))
	e := p.tag("Figure")
	e.alt = p.plain(d.Words)
	h := d.Height*pt + 2
	return p.marked(e, row{h, func(y float64) {
		e.box = fmt.Sprintf("%.2f %.2f %.2f %.2f", x/pt, (pageHeight-y-h)/pt, (x+w)/pt, (pageHeight-y)/pt)
		for _, l := range d.Lines {
			p.line(l, x, y)
		}
		p.f.SetDashPattern(nil, 0)
		p.f.SetDrawColor(0, 0, 0)
		for _, t := range d.Texts {
			p.font(t.Bold, t.Size)
			at := x + t.X*pt
			text := fit(p, t.Text, x+w-at)
			switch t.Anchor {
			case plot.Middle:
				text = p.plain(t.Text)
				at -= p.wide(text) / 2
			case plot.End:
				text = p.plain(t.Text)
				at -= p.wide(text)
			}
			p.text(at, y+t.Y*pt, text)
		}
	}})[0]
}

func (p *printer) line(l plot.Line, x, y float64) {
	if len(l.Points) == 0 {
		return
	}
	dash := make([]float64, len(l.Dash))
	for i, v := range l.Dash {
		dash[i] = v * pt
	}
	p.f.SetDashPattern(dash, 0)
	g := int(l.Grey*255 + 0.5)
	p.f.SetDrawColor(g, g, g)
	p.f.SetLineWidth(l.Width * pt)
	for i, q := range l.Points {
		if i == 0 {
			p.f.MoveTo(x+q.X*pt, y+q.Y*pt)
		} else {
			p.f.LineTo(x+q.X*pt, y+q.Y*pt)
		}
	}
	if l.Closed {
		p.f.ClosePath()
	}
	style := "D"
	if l.Fill {
		p.f.SetFillColor(255, 255, 255)
		style = "DF"
	}
	p.f.DrawPath(style)
	p.f.SetFillColor(0, 0, 0)
}
