package pdf

import (
	"fmt"
	"strings"

	"hvproof/internal/report"
)

// The sizes of type, in points, and the lines that go with them, in mm.
const (
	body     = 9.0
	bodyLine = 4.3
	tiny     = 8.0
	tinyLine = 3.8

	shortList = 45.0 // mm: facts that stay on one page
)

func (p *printer) part(part report.Part, first bool) {
	p.tops = nil
	level := 2 // of the sections' headings
	if first {
		p.titlePage()
	} else {
		level = 3
		p.f.Bookmark(p.plain(part.Title), 0, -1)
		p.heading(p.said("H2", p.lines(true, 16, 7.5, part.Title, left, width))...)
		p.heading(p.rule(0.6), p.space(1))
	}
	for _, s := range part.Sections {
		p.within("Sect", func() {
			p.heading(p.space(4))
			p.heading(p.said(fmt.Sprintf("H%d", level), p.lines(true, 11.5, 5.4, s.Title, left, width))...)
			p.heading(p.rule(0.2), p.space(1.5))
			for _, b := range s.Blocks {
				p.block(b)
			}
		})
		p.flush()
	}
}

// said makes rows an element of their own.
func (p *printer) said(role string, rows []row) []row { return p.marked(p.tag(role), rows...) }

func (p *printer) titlePage() {
	r := p.d.Report
	p.f.Bookmark("Summary", 0, -1)
	p.y = 18
	p.heading(p.said("H1", p.lines(true, 20, 9, r.Title, left, width))...)
	p.heading(p.said("P", p.lines(false, 12, 6, r.Subject, left, width))...)
	p.heading(p.space(1), p.rule(0.6))
}

// rule is a line across the page.
func (p *printer) rule(thick float64) row {
	return row{thick + 0.8, func(y float64) {
		p.artifact(func() {
			p.f.SetLineWidth(thick)
			p.f.Line(left, y+0.4, left+width, y+0.4)
		})
	}}
}

// lines sets text in a column.
func (p *printer) lines(bold bool, size, line float64, text string, x, w float64) []row {
	p.font(bold, size)
	var rows []row
	for _, l := range p.wrap(text, w) {
		rows = append(rows, row{line, func(y float64) {
			p.font(bold, size)
			p.text(x, y+line*0.74, l)
		}})
	}
	return rows
}

func (p *printer) block(b report.Block) {
	switch b := b.(type) {
	case report.Result:
		p.result(b)
	case report.Facts:
		p.within("L", func() {
			var all []row
			var parted [][]row
			for _, f := range b {
				rows := p.fact(f, left, nameWidth(b), false)
				all, parted = append(all, rows...), append(parted, rows)
			}
			if heightOf(all) < shortList {
				parted = [][]row{all}
			}
			for _, rows := range parted {
				p.keep(rows...)
			}
		})
	case report.Paragraph:
		p.keep(append(p.said("P", p.lines(false, body, bodyLine, string(b), left, width)), p.space(1))...)
	case report.List:
		p.within("L", func() {
			for i, item := range b.Items {
				sign := "–"
				if b.Counted {
					sign = fmt.Sprintf("%d.", i+1)
				}
				p.within("LI", func() {
					p.keep(p.beside(p.said("Lbl", p.lines(false, body, bodyLine, sign, left, 6)),
						p.said("LBody", p.lines(false, body, bodyLine, item, left+6, width-6)))...)
				})
			}
		})
	case report.Table:
		p.table(b)
	case report.Step:
		p.step(b)
	case report.Verbatim:
		p.verbatim(string(b))
	default:
		p.f.SetErrorf("a block of type %T cannot be printed", b)
	}
}

// beside puts two columns side by side.
func (p *printer) beside(columns ...[]row) []row {
	n := 0
	for _, c := range columns {
		n = max(n, len(c))
	}
	rows := make([]row, n)
	for i := range rows {
		var parts []row
		for _, c := range columns {
			if i < len(c) {
				parts = append(parts, c[i])
				rows[i].height = max(rows[i].height, c[i].height)
			}
		}
		rows[i].draw = func(y float64) {
			for _, r := range parts {
				r.draw(y)
			}
		}
	}
	return rows
}

// joined makes one row of several, which is not parted.
func joined(rows []row) row {
	return row{heightOf(rows), func(y float64) {
		for _, r := range rows {
			r.draw(y)
			y += r.height
		}
	}}
}

// isGood reports whether a word says that all is well: everything else is
// printed white on black.
func isGood(word string) bool {
	switch word {
	case "PASSED", "POWER MAY COME ON", "PASS", "DONE":
		return true
	}
	return false
}

func (p *printer) result(r report.Result) {
	const pad = 4.0
	good := isGood(r.Word)
	word := p.said("P", p.lines(true, 19, 9, r.Word, left+pad, width-2*pad))
	said := p.said("P", p.lines(false, 10, 4.8, r.Sentence, left+pad, width-2*pad))
	h := heightOf(word) + heightOf(said) + 2*pad - 1
	p.keep(row{h, func(y float64) {
		p.artifact(func() { p.box(left, y, width, h, 0.9, good) })
		if !good {
			p.f.SetTextColor(255, 255, 255)
		}
		joined(append(word, said...)).draw(y + pad - 1)
		p.f.SetTextColor(0, 0, 0)
	}}, p.space(2))
}

// box is a frame, or black where what stands in it must not be overlooked.
func (p *printer) box(x, y, w, h, thick float64, good bool) {
	p.f.SetLineWidth(thick)
	if good {
		p.f.Rect(x, y, w, h, "D")
		return
	}
	p.f.SetFillColor(0, 0, 0)
	p.f.Rect(x, y, w, h, "FD")
}

// nameWidth is the room for the names of facts.
func nameWidth(f report.Facts) float64 {
	n := 0
	for _, x := range f {
		n = max(n, len([]rune(x.Name)))
	}
	return min(max(float64(n)*1.9, 26), 44)
}

// fact gives a name with its values beside it, one below the other.
func (p *printer) fact(f report.Fact, x, names float64, small bool) []row {
	size, line := body, bodyLine
	if small {
		size, line = tiny+0.3, tinyLine
	}
	var both []row
	p.within("LI", func() {
		name := p.said("Lbl", p.lines(true, size, line, f.Name, x, names-2))
		var values []row
		body := p.tag("LBody")
		for _, v := range f.Values {
			values = append(values, p.marked(body, p.lines(false, size, line, v, x+names, left+width-x-names)...)...)
		}
		both = p.beside(name, values)
	})
	return both
}

// verbatim prints lines as they are. The checkpoint has its QR code beside it.
func (p *printer) verbatim(text string) {
	if text != "" && text == strings.TrimRight(string(p.d.Checkpoint), "\n") {
		p.checkpoint(text)
		return
	}
	p.keep(append(p.said("P", p.raw(text, left+3, width-3)), p.space(1.5))...)
}

// raw sets lines as they are; one that is too long goes on in the next line
// after a backslash.
func (p *printer) raw(text string, x, w float64) []row {
	p.font(false, tiny)
	var rows []row
	for line := range strings.SplitSeq(text, "\n") {
		line = p.plain(line)
		for {
			head := line
			if p.wide(head) > w {
				head = p.cut(line, w-p.wide(`\`))
			}
			line = line[len(head):]
			if line != "" {
				head += `\`
			}
			rows = append(rows, row{tinyLine, func(y float64) {
				p.font(false, tiny)
				first, second, both := strings.Cut(head, "   ") // columns of a typewriter
				p.text(x, y+tinyLine*0.74, first)
				if both {
					p.text(x+36, y+tinyLine*0.74, strings.TrimLeft(second, " "))
				}
			}})
			if line == "" {
				break
			}
		}
	}
	return rows
}
