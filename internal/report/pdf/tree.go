package pdf

import "fmt"

// An element is a node of the structure tree, by which a reader that cannot
// see the page reads it (ISO 32000-1:2008, 14.7 and 14.8).
type element struct {
	role string // "P", "H2", "TD"
	alt  string // of a figure: what it shows
	box  string // of a figure: where it stands, in points from the bottom left
	kids []any  // *element and mark, in reading order
}

// A mark is a piece of a page that belongs to an element.
type mark struct{ page, id int }

// tag makes an element at the end of the current one.
func (p *printer) tag(role string) *element {
	e := &element{role: role}
	p.at.kids = append(p.at.kids, e)
	return e
}

// within makes an element and puts into it what is made meanwhile.
func (p *printer) within(role string, made func()) {
	was := p.at
	p.at = p.tag(role)
	made()
	p.at = was
}

// marked says that what a row prints belongs to an element. Only what is
// printed first does: the head of a table is repeated for the eye alone.
func (p *printer) marked(e *element, rows ...row) []row {
	out := make([]row, len(rows))
	for i, r := range rows {
		done := false
		out[i] = row{r.height, func(y float64) {
			if done {
				p.artifact(func() { r.draw(y) })
				return
			}
			done = true
			page := p.f.PageNo()
			for len(p.owners) < page {
				p.owners = append(p.owners, nil)
			}
			id := len(p.owners[page-1])
			p.owners[page-1] = append(p.owners[page-1], e)
			e.kids = append(e.kids, mark{page, id})
			p.f.RawWriteStr(fmt.Sprintf("/%s <</MCID %d>> BDC", e.role, id))
			r.draw(y)
			p.f.RawWriteStr("EMC")
		}}
	}
	return out
}

// artifact prints what is for the eye alone: lines, boxes, heads and feet.
func (p *printer) artifact(draw func()) {
	p.f.RawWriteStr("/Artifact BMC")
	draw()
	p.f.RawWriteStr("EMC")
}
