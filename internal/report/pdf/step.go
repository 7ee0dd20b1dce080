package pdf

import "hvproof/internal/report"

func (p *printer) step(s report.Step) {
	const indent = left + 8
	var rows []row
	p.within("Sect", func() {
		rows = []row{p.space(2.5), p.stepHead(s), p.space(0.6)}
		rows = append(rows, p.said("P", p.lines(false, 10, 4.7, s.Text, indent, left+width-indent))...)
		p.within("L", func() {
			if p.font(true, 9.5); fit(p, s.Path, pathWidth) != p.plain(s.Path) { // the head may have cut it
				rows = append(rows, p.fact(report.Fact{Name: "Step", Values: []string{s.Path}}, indent, 24, true)...)
			}
			for _, f := range s.Facts {
				rows = append(rows, p.fact(f, indent, 24, true)...)
			}
		})
		for _, a := range s.Attempts {
			rows = append(append(rows, p.space(0.8)), p.attempt(a, indent)...)
		}
		p.within("L", func() {
			for _, f := range s.End {
				rows = append(rows, p.fact(f, indent, 24, true)...)
			}
		})
	})
	p.keep(rows...)
}

// attempt gives what was answered, with a bar beside it.
func (p *printer) attempt(a report.Attempt, indent float64) []row {
	var said []row
	if a.Title != "" {
		said = p.said("H5", p.lines(true, tiny+0.5, tinyLine+0.3, a.Title, indent+3, left+width-indent-3))
	}
	p.within("L", func() {
		for _, f := range a.Facts {
			said = append(said, p.fact(f, indent+3, 21, true)...)
		}
	})
	if a.Chart != nil {
		said = append(said, p.space(1.5), p.chart(a.Chart, indent+3, left+width-indent-3))
	}
	var rows []row
	for _, r := range said {
		rows = append(rows, row{r.height, func(y float64) {
			p.artifact(func() {
				p.f.SetLineWidth(0.7)
				p.f.Line(indent+0.8, y, indent+0.8, y+r.height)
			})
			r.draw(y)
		}})
	}
	return rows
}

// pathWidth is the room that a step's head has for its path in any case.
const pathWidth = 85.0

// stepHead is the line of a step with its number, path and decision.
func (p *printer) stepHead(s report.Step) row {
	const h = 6.0
	good := isGood(s.Decision) || s.Decision == ""
	p.font(true, 8.5)
	decision := p.plain(s.Decision)
	w := p.wide(decision) + 4
	x := left + width - w
	text := p.said("H4", []row{{h, func(y float64) {
		p.font(false, 8)
		p.text(left, y+4.2, p.plain(s.Number))
		at := left + max(p.wide(p.plain(s.Number))+3, 16)
		p.font(true, 9.5)
		p.text(at, y+4.2, fit(p, s.Path, x-at-2))
		p.font(true, 8.5)
		if !good {
			p.f.SetTextColor(255, 255, 255)
		}
		p.text(x+2, y+4.2, decision)
		p.f.SetTextColor(0, 0, 0)
	}}})[0]
	return row{h, func(y float64) {
		p.artifact(func() {
			p.f.SetLineWidth(0.2)
			p.f.Line(left, y, left+width, y)
			p.box(x, y+0.9, w, 4.4, 0.3, good)
		})
		text.draw(y)
	}}
}
