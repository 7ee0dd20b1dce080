package pdf

import (
	"slices"

	"hvproof/internal/report"
)

// table prints columns as wide as they need, the widest giving way, and its
// head again at the top of each page.
func (p *printer) table(t report.Table) {
	const gap = 3.0
	widths := p.columns(t, gap)
	cells := func(role string, texts []string) []row {
		var columns [][]row
		p.within("TR", func() {
			x := left
			for i, c := range texts {
				columns = append(columns, p.said(role, p.lines(role == "TH", tiny+0.3, tinyLine, c, x, widths[i])))
				x += widths[i] + gap
			}
		})
		return p.beside(columns...)
	}
	p.within("Table", func() {
		head := append(cells("TH", t.Head), p.rule(0.3))
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

// hairline parts two rows of a table.
func (p *printer) hairline() row {
	return row{0.9, func(y float64) {
		p.artifact(func() {
			p.f.SetDrawColor(170, 170, 170)
			p.f.SetLineWidth(0.1)
			p.f.Line(left, y+0.45, left+width, y+0.45)
			p.f.SetDrawColor(0, 0, 0)
		})
	}}
}

func (p *printer) columns(t report.Table, gap float64) []float64 {
	widths := make([]float64, len(t.Head))
	for n, r := range append([][]string{t.Head}, t.Rows...) {
		p.font(n == 0, tiny+0.3)
		for i, c := range r {
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
