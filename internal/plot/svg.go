package plot

import (
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"

	"hvproof/internal/diag"
)

// SVG writes the drawing as one SVG document, the same bytes for the same
// drawing. It contains no script, no style, no link, and no font; characters
// that could deceive a reader are written out.
func (d Drawing) SVG(to io.Writer) error {
	return d.write(to, fmt.Sprintf(`xmlns="http://www.w3.org/2000/svg" width="%s" height="%s"`, number(d.Width), number(d.Height)))
}

// Inline writes the same as an element of an HTML page, as wide as the page
// lets it be.
func (d Drawing) Inline(to io.Writer) error { return d.write(to, `width="100%"`) }

func (d Drawing) write(to io.Writer, attributes string) error {
	w := bufio.NewWriter(to)
	fmt.Fprintf(w, `<svg %s viewBox="0 0 %s %s" role="img" font-family="IBM Plex Sans, Helvetica, Arial, sans-serif">`+"\n",
		attributes, number(d.Width), number(d.Height))
	fmt.Fprintf(w, "<title>%s</title>\n<desc>%s</desc>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n", escape(d.Title), escape(d.Words))
	for _, l := range d.Lines {
		writeLine(w, l)
	}
	for _, t := range d.Texts {
		anchor := [...]string{"start", "middle", "end"}[t.Anchor]
		weight := ""
		if t.Bold {
			weight = ` font-weight="bold"`
		}
		fmt.Fprintf(w, `<text x="%s" y="%s" font-size="%s" text-anchor="%s"%s>%s</text>`+"\n", number(t.X), number(t.Y), number(t.Size), anchor, weight, escape(t.Text))
	}
	fmt.Fprintln(w, "</svg>")
	return w.Flush()
}

func writeLine(w io.Writer, l Line) {
	if len(l.Points) == 0 {
		return
	}
	fill := "none"
	if l.Fill {
		fill = "#fff"
	}
	g := int(l.Grey*255 + 0.5)
	fmt.Fprintf(w, `<path fill="%s" stroke="#%02x%02x%02x" stroke-width="%s" stroke-linejoin="round"`, fill, g, g, g, number(l.Width))
	if len(l.Dash) > 0 {
		var parts []string
		for _, x := range l.Dash {
			parts = append(parts, number(x))
		}
		fmt.Fprintf(w, ` stroke-dasharray="%s"`, strings.Join(parts, " "))
	}
	fmt.Fprint(w, ` d="`)
	for i, p := range l.Points {
		fmt.Fprint(w, [2]string{"L", "M"}[b2i(i == 0)], number(p.X), " ", number(p.Y))
	}
	if l.Closed {
		fmt.Fprint(w, "Z")
	}
	fmt.Fprintln(w, `"/>`)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// number gives a coordinate to a hundredth of a point.
func number(x float64) string {
	s := strconv.FormatFloat(x, 'f', 2, 64)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

func escape(text string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(diag.Printable(text))); err != nil {
		return ""
	}
	return b.String()
}
