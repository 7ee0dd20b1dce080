// Package text prints a report as plain text for A4: 88 columns, 64 lines a
// page, pages parted by form feeds (printers and pagers know them). Meaning is
// in words and order, never in colour or in the place on the page alone, so
// that it can be read aloud. The marks of a report stand at the head and the
// foot of every page.
package text

import (
	"fmt"
	"io"
	"strings"

	"hvproof/internal/report"
)

// The size of a page in characters. 64 lines fit A4 at six lines to the inch
// with a margin.
const (
	Width = 88
	Lines = 64
)

// Write prints a report.
func Write(w io.Writer, r *report.Report) error {
	d := &document{report: r}
	for i, p := range r.Parts {
		if i > 0 {
			d.newPage()
		}
		d.part(p, i == 0)
	}
	_, err := io.WriteString(w, d.String())
	return err
}

// A document is pages of lines, without their heads and feet.
type document struct {
	report *report.Report
	pages  [][]string
	page   []string
	head   []string // headings that must not stand alone at the end of a page
}

// room is how many lines of the current page are free for the text.
func (d *document) room() int {
	return Lines - len(d.top(len(d.pages)+1)) - len(d.foot(0, 0))
}

// top gives the lines at the head of a page; the first one has the title
// itself.
func (d *document) top(page int) []string {
	if page == 1 {
		return append(d.mark(), "")
	}
	line := ends(d.report.Title, fit(d.report.Subject, Width/2), Width)
	return append(d.mark(), line, strings.Repeat("-", Width), "")
}

// foot gives the lines at the foot of each page.
func (d *document) foot(page, of int) []string {
	lines := []string{strings.Repeat("-", Width), ends(d.report.Subject, fmt.Sprintf("page %d of %d", page, of), Width)}
	return append(lines, d.mark()...)
}

// mark gives the report's mark, nothing where it has none.
func (d *document) mark() []string {
	if d.report.Mark == "" {
		return nil
	}
	return wrap(d.report.Mark, Width)
}

func (d *document) newPage() {
	for len(d.page) > 0 && d.page[len(d.page)-1] == "" {
		d.page = d.page[:len(d.page)-1]
	}
	if len(d.page) > 0 {
		d.pages = append(d.pages, d.page)
	}
	d.page = nil
}

// keep adds lines that stay on one page if they fit on one, with the headings
// before them.
func (d *document) keep(lines ...string) {
	lines = append(d.head, lines...)
	d.head = nil
	if len(d.page)+len(lines) > d.room() && (len(lines) <= d.room() || len(d.page) > d.room()-8) {
		d.newPage()
	}
	for _, l := range lines {
		if len(d.page) == d.room() {
			d.newPage()
		}
		if l != "" || len(d.page) > 0 {
			d.page = append(d.page, strings.TrimRight(l, " "))
		}
	}
}

// heading holds a heading back until something follows it.
func (d *document) heading(lines ...string) { d.head = append(d.head, lines...) }

// String gives the pages with heads and feet.
func (d *document) String() string {
	d.keep()
	d.newPage()
	var b strings.Builder
	for i, page := range d.pages {
		if i > 0 {
			b.WriteByte('\f')
		}
		lines := append(d.top(i+1), page...)
		foot := d.foot(i+1, len(d.pages))
		for len(lines) < Lines-len(foot) {
			lines = append(lines, "")
		}
		for _, l := range append(lines, foot...) {
			b.WriteString(l + "\n")
		}
	}
	return b.String()
}
