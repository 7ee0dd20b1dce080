package pdf

import (
	"slices"

	"hvproof/internal/report"
)

// table prints columns as wide as they need, the widest giving way, and its
// head again at the top of each page.
func (p *printer) table(t report.Table) {
	const gap = 2.4
	widths := p.columns(t, gap)
	cells := func(role string, texts []string) []row {
		var columns [][]row
		p.within("TR", func() {
			x := left
			for i, c := range texts {
				bad := role == "TD" && t.Head[i] == "decision" && c != "" && !isGood(c)
				cell := p.said(role, p.lines(bad || role == "TH", tiny+0.3, tinyLine, c, x, widths[i]))
				if bad {
					cell = p.onBlack(cell, x-0.8, widths[i]+1.6)
				}
				columns = append(columns, cell)
				x += widths[i] + gap
			}
		})
		return p.beside(columns...)
	}
	p.within("Table", func() {
		head := append(cells("TH", t.Head), p.rule(0.3))
		if p.head == nil {
			p.heading(p.space(1.2))
		}
		p.heading(head...)
		for i, r := range t.Rows {
			p.keep(append(cells("TD", r), p.hairline())...)
			if i == 0 {
				p.tops = head
			}
		}
	})
	p.tops = nil
	p.flush()
}

// onBlack prints rows white on black.
func (p *printer) onBlack(rows []row, x, w float64) []row {
	var out []row
	for _, r := range rows {
		out = append(out, row{r.height, func(y float64) {
			p.artifact(func() { p.box(x, y+0.2, w, r.height, 0.1, false) })
			p.f.SetTextColor(255, 255, 255)
			r.draw(y)
			p.f.SetTextColor(0, 0, 0)
		}})
	}
	return out
}

// hairline parts two rows of a table.
func (p *printer) hairline() row {
	return row{0.7, func(y float64) {
		p.artifact(func() {
			p.f.SetDrawColor(170, 170, 170)
			p.f.SetLineWidth(0.1)
			p.f.Line(left, y+0.35, left+width, y+0.35)
			p.f.SetDrawColor(0, 0, 0)
		})
	}}
}

func (p *printer) columns(t report.Table, gap float64) []float64 {
	widths := make([]float64, len(t.Head))
	for n, r := range append([][]string{t.Head}, t.Rows...) {
		for i, c := range r {
			p.font(n == 0 || t.Head[i] == "decision", tiny+0.3)
			widths[i] = max(widths[i], p.wide(p.plain(c))+0.2)
		}
	}
	free := width - gap*float64(len(widths)-1)
	for {
		sum := 0.0
		for _, w := range widths {
			sum += w
		}
		if sum <= free {
			return widths
		}
		widest := slices.Index(widths, slices.Max(widths))
		widths[widest] -= min(2, sum-free+0.01)
	}
}
