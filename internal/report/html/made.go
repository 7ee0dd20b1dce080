package html

import (
	"bytes"
	"fmt"
	"html"

	"hvproof/internal/diag"
	"hvproof/internal/plot"
)

// A Remark is one of the audit on an entry of a log.
type Remark struct {
	Log, Code, Sentence string
	Entry               int64
}

// A Figure is the drawing of the waveform that an entry names, or the words why
// there is none.
type Figure struct {
	Log   string
	Entry int64
	File  string // SHA-256 of what was drawn, in hexadecimal
	Chart *plot.Chart
	Words string // what is wrong with it; empty where all is well
}

// The size of a drawing, in points; a page scales it to its width.
const (
	figureWidth  = 640
	figureHeight = 360
	panelHeight  = 140 // of each panel after the first
)

// writeMade writes what the program adds to the record. Nothing of it is shown
// before the script has verified the record.
func writeMade(b *bytes.Buffer, p Page) error {
	b.WriteString("<div id=\"made\" hidden>\n<section id=\"remarks\">\n<h2>Remarks of the audit</h2>\n")
	if len(p.Remarks) == 0 {
		b.WriteString("<p>None: nothing in the conduct of the record is out of the ordinary.</p>\n")
	} else {
		b.WriteString("<ul>\n")
		for _, r := range p.Remarks {
			fmt.Fprintf(b, "<li data-of=\"%s %d\"><b>entry %d, %s</b> %s</li>\n", escape(r.Log), r.Entry, r.Entry, escape(r.Code), escape(r.Sentence))
		}
		b.WriteString("</ul>\n")
	}
	b.WriteString("<h2>Open items</h2>\n")
	if len(p.Open) == 0 {
		b.WriteString("<p>None: nothing is provisional, and what failed is closed.</p>\n")
	} else {
		b.WriteString("<ul>\n")
		for _, o := range p.Open {
			fmt.Fprintf(b, "<li>%s</li>\n", escape(o))
		}
		b.WriteString("</ul>\n")
	}
	b.WriteString("</section>\n")
	for _, f := range p.Figures {
		fmt.Fprintf(b, "<figure data-of=\"%s %d %s\">\n", escape(f.Log), f.Entry, escape(f.File))
		if f.Chart != nil {
			if err := f.Chart.Draw(figureWidth, figureHeight+panelHeight*float64(max(len(f.Chart.Panels), 1)-1)).Inline(b); err != nil {
				return err
			}
		}
		if f.Words != "" {
			fmt.Fprintf(b, "<figcaption>%s</figcaption>\n", escape(f.Words))
		}
		b.WriteString("</figure>\n")
	}
	b.WriteString("</div>\n")
	return nil
}

// escape makes text of any kind into text of a page.
func escape(text string) string { return html.EscapeString(diag.Printable(text)) }
