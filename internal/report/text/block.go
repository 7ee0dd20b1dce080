package text

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/report"
)

const (
	margin   = 2  // of what stands below a heading
	together = 12 // lines of a list that stay on one page
)

func (d *document) part(p report.Part, first bool) {
	if first {
		d.heading(wrap(d.report.Title, Width)...)
		d.heading(wrap(d.report.Subject, Width)...)
		d.heading(strings.Repeat("=", Width))
	} else {
		d.heading(wrap(p.Title, Width)...)
		d.heading(strings.Repeat("=", Width))
	}
	for _, s := range p.Sections {
		d.heading("", strings.ToUpper(diag.Printable(s.Title)))
		for _, b := range s.Blocks {
			d.block(b)
		}
	}
}

func (d *document) block(b report.Block) {
	switch b := b.(type) {
	case report.Result:
		d.result(b)
	case report.Facts:
		for _, f := range b {
			d.keep(fact(f, margin, nameWidth(b))...)
		}
	case report.Paragraph:
		d.keep(indent(margin, wrap(string(b), Width-margin))...)
	case report.List:
		var lines []string
		for i, item := range b.Items {
			sign := "-"
			if b.Counted {
				sign = fmt.Sprintf("%d.", i+1)
			}
			lines = append(lines, hanging(sign, item, margin)...)
			if len(lines) > together {
				d.keep(lines...)
				lines = nil
			}
		}
		d.keep(lines...)
	case report.Table:
		d.table(b)
	case report.Step:
		d.step(b)
	case report.Verbatim:
		d.verbatim(string(b))
	default:
		panic(fmt.Sprintf("a block of type %T cannot be printed", b))
	}
}

func (d *document) result(r report.Result) {
	lines := []string{"", "  >>>  " + strings.Join(wrap(r.Word, Width-14), " ") + "  <<<", ""}
	d.keep(append(lines, indent(margin, wrap(r.Sentence, Width-margin))...)...)
}

// nameWidth gives the room for the names of facts.
func nameWidth(f report.Facts) int {
	w := 8
	for _, x := range f {
		w = max(w, length(x.Name))
	}
	return min(w, 24)
}

// fact gives a name with its values beside it, one below the other.
func fact(f report.Fact, left, names int) []string {
	var out []string
	name := wrap(f.Name, names)
	for _, v := range f.Values {
		for _, l := range wrap(v, Width-left-names-2) {
			n := ""
			if len(name) > 0 {
				n, name = name[0], name[1:]
			}
			out = append(out, strings.Repeat(" ", left)+pad(n, names)+"  "+l)
		}
	}
	for _, n := range name {
		out = append(out, strings.Repeat(" ", left)+n)
	}
	return out
}

func indent(n int, lines []string) []string {
	for i, l := range lines {
		lines[i] = strings.Repeat(" ", n) + l
	}
	return lines
}

// hanging gives text behind a sign, further lines below its first word.
func hanging(sign, text string, left int) []string {
	lines := wrap(text, Width-left-length(sign)-1)
	for i, l := range lines {
		lead := sign
		if i > 0 {
			lead = ""
		}
		lines[i] = strings.Repeat(" ", left) + pad(lead, length(sign)) + " " + l
	}
	return lines
}

func (d *document) step(s report.Step) {
	const left = 6
	title := s.Path
	if s.Number != "" {
		title = "[" + s.Number + "]  " + s.Path
	}
	right := diag.Printable(s.Decision)
	lines := []string{"", strings.Repeat(" ", margin) + ends(title+" ", " "+right, Width-margin)}
	if length(title)+length(right)+4 > Width-margin { // both in full, one below the other
		lines = append([]string{""}, indent(margin, wrap(title, Width-margin))...)
		lines = append(lines, strings.Repeat(" ", left)+right)
	}
	lines = append(lines, indent(left, wrap(s.Text, Width-left))...)
	names := 12
	for _, f := range s.Facts {
		lines = append(lines, fact(f, left, names)...)
	}
	blocks := [][]string{lines}
	for _, a := range s.Attempts {
		blocks = append(blocks, attempt(a, left, names))
	}
	var end []string
	for _, f := range s.End {
		end = append(end, fact(f, left, names)...)
	}
	blocks = append(blocks, end)
	if all := slices.Concat(blocks...); len(all) < Lines-8 {
		blocks = [][]string{all}
	}
	for _, b := range blocks { // of what is longer than a page each answer stays together
		d.keep(b...)
	}
}

// attempt gives what was answered, a waveform drawn below it.
func attempt(a report.Attempt, left, names int) []string {
	var lines []string
	if a.Title != "" {
		lines = append(lines, indent(left, wrap(a.Title, Width-left))...)
	}
	for _, f := range a.Facts {
		lines = append(lines, fact(f, left, names)...)
	}
	if a.Chart != nil {
		lines = append(lines, indent(left, a.Chart.Characters(Width-left))...)
	}
	return lines
}

// verbatim prints lines as they are; one that is too long goes on in the next
// line after a backslash, and that is said.
func (d *document) verbatim(text string) {
	const left = 4
	var lines []string
	broken := false
	for line := range strings.SplitSeq(text, "\n") {
		line = diag.Printable(line)
		for length(line) > Width-left {
			head := cut(line, Width-left-1)
			lines = append(lines, head+`\`)
			line, broken = line[len(head):], true
		}
		lines = append(lines, line)
	}
	lines = indent(left, lines)
	if broken {
		lines = append(lines, indent(margin, wrap(`(A line above that ends in \ goes on in the next one, without the \ and the spaces.)`, Width-margin))...)
	}
	d.keep(lines...)
}

// table prints columns as wide as they need, the widest giving way.
func (d *document) table(t report.Table) {
	widths := columnWidths(t)
	row := func(cells []string) []string {
		columns := make([][]string, len(cells))
		rows := 0
		for i, c := range cells {
			columns[i] = wrap(c, widths[i])
			rows = max(rows, len(columns[i]))
		}
		lines := make([]string, rows)
		for n := range lines {
			line := strings.Repeat(" ", margin)
			for i, c := range columns {
				cell := ""
				if n < len(c) {
					cell = c[n]
				}
				line += pad(cell, widths[i]) + "  "
			}
			lines[n] = line
		}
		return lines
	}
	var under []string
	for _, w := range widths {
		under = append(under, strings.Repeat("-", w))
	}
	d.heading(row(t.Head)...)
	d.heading(row(under)...)
	for _, r := range t.Rows {
		d.keep(row(r)...)
	}
}

func columnWidths(t report.Table) []int {
	widths := make([]int, len(t.Head))
	for _, r := range append([][]string{t.Head}, t.Rows...) {
		for i, c := range r {
			widths[i] = max(widths[i], length(diag.Printable(c)))
		}
	}
	free := Width - margin - 2*(len(widths)-1)
	for {
		sum, widest := 0, 0
		for i, w := range widths {
			sum += w
			if w > widths[widest] {
				widest = i
			}
		}
		if sum <= free {
			return widths
		}
		widths[widest]--
	}
}
