package pdf

import (
	"bytes"
	_ "embed"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"hvproof/internal/report"
)

//go:embed fonts/IBMPlexSans_400Regular.ttf
var regularFont []byte

//go:embed fonts/IBMPlexSans_600SemiBold.ttf
var boldFont []byte

// A Document is a report with what the pages say beside it.
type Document struct {
	Report     *report.Report
	Checkpoint []byte    // printed as a QR code where the report prints it
	Head       string    // the log's length and root, for the foot of every page
	Issued     time.Time // the date in the file's own data
	Program    string
	Keywords   string // for the file's own data: plain ASCII
}

// The page, in mm.
const (
	pageWidth  = 210.0
	pageHeight = 297.0
	left       = 18.0
	right      = 18.0
	width      = pageWidth - left - right
	top        = 24.0
	bottom     = pageHeight - 21.0
)

// Write prints a document.
func Write(w io.Writer, d Document) error {
	pages := 0
	for range 3 { // the number of pages stands on the pages
		p, err := render(d, pages)
		if err != nil {
			return err
		}
		n := p.f.PageCount()
		if n == pages {
			var b bytes.Buffer
			if err := p.f.Output(&b); err != nil {
				return err
			}
			return writeTagged(w, b.Bytes(), p.root, p.owners)
		}
		pages = n
	}
	return fmt.Errorf("the number of pages does not settle")
}

// A page writer keeps where it is on the page.
type printer struct {
	f     *fpdf.Fpdf
	d     Document
	known glyphs
	pages int
	y     float64
	head  []row // headings that must not stand alone at the end of a page
	tops  []row // repeated at the top of a page while a table goes on
	fresh bool  // nothing stands on the page yet

	root, at *element     // of the structure tree, and where the next one goes
	owners   [][]*element // by page and mark
}

func render(d Document, pages int) (*printer, error) {
	f := fpdf.New("P", "mm", "A4", "")
	f.SetCatalogSort(true)
	f.SetCreationDate(d.Issued.UTC())
	f.SetModificationDate(d.Issued.UTC())
	f.SetTitle(d.Report.Title, true)
	f.SetSubject(d.Report.Subject, true)
	f.SetCreator(d.Program, true)
	f.SetProducer("hvproof", false)
	f.SetKeywords(d.Keywords, false)
	f.SetLang("en-GB")
	f.SetXmpMetadata(xmp(d))
	f.SetDisplayMode("fullwidth", "continuous")
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(left, top, right)
	f.SetCellMargin(0)
	f.AddUTF8FontFromBytes("plex", "", bytes.Clone(regularFont))
	f.AddUTF8FontFromBytes("plex", "B", bytes.Clone(boldFont))
	root := &element{role: "Document"}
	p := &printer{f: f, d: d, pages: pages, root: root, at: root}
	var err error
	if p.known, err = bothHave(regularFont, boldFont); err != nil {
		return nil, err
	}
	for i, part := range d.Report.Parts {
		p.newPage()
		p.within("Part", func() { p.part(part, i == 0) })
	}
	p.flush()
	return p, f.Error()
}

// newPage begins a page with its mark, head and foot.
func (p *printer) newPage() {
	p.f.AddPage()
	p.y, p.fresh = top, true
	p.artifact(p.around)
}

// around prints what stands around the text of every page.
func (p *printer) around() {
	p.watermark()
	r, n := p.d.Report, p.f.PageNo()
	p.font(false, 8)
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.2)
	if n > 1 {
		p.text(left, 13, fit(p, r.Title, width*0.62))
		p.textRight(13, fit(p, r.Subject, width*0.36))
		p.f.Line(left, 15.5, left+width, 15.5)
	}
	foot := pageHeight - 11
	p.f.Line(left, foot-5, left+width, foot-5)
	p.font(false, 6.8)
	p.text(left, foot-1.2, fit(p, p.d.Head, width*0.89))
	p.font(true, 8)
	p.textRight(foot-1.2, fmt.Sprintf("page %d of %d", n, p.pages))
	if r.Mark != "" {
		p.font(true, 8)
		mark := fit(p, r.Mark, width)
		for _, y := range []float64{8.5, foot + 3} {
			p.text(left+(width-p.wide(mark))/2, y, mark)
		}
	}
}

// watermark prints the first word of the mark across the page, light enough to
// read on paper what stands over it.
func (p *printer) watermark() {
	word, _, _ := strings.Cut(p.d.Report.Mark, " - ")
	if word == "" {
		return
	}
	if len(word) > 12 {
		word = "DOES NOT VERIFY"
	}
	p.font(true, 96)
	for p.wide(word) > 250 {
		size, _ := p.f.GetFontSize()
		p.font(true, size-4)
	}
	p.f.SetTextColor(237, 237, 237)
	p.f.TransformBegin()
	p.f.TransformRotate(54, pageWidth/2, pageHeight/2)
	p.text(pageWidth/2-p.wide(word)/2, pageHeight/2+12, word)
	p.f.TransformEnd()
	p.f.SetTextColor(0, 0, 0)
}

func (p *printer) font(bold bool, size float64) {
	style := ""
	if bold {
		style = "B"
	}
	p.f.SetFont("plex", style, size)
}

func (p *printer) wide(s string) float64 { return p.f.GetStringWidth(s) }

func (p *printer) text(x, y float64, s string) { p.f.Text(x, y, s) }

func (p *printer) textRight(y float64, s string) { p.f.Text(left+width-p.wide(s), y, s) }

// A row is a piece of the page that is not parted.
type row struct {
	height float64
	draw   func(y float64)
}

func heightOf(rows []row) float64 {
	h := 0.0
	for _, r := range rows {
		h += r.height
	}
	return h
}

// keep adds rows that stay on one page if they fit on one, with the headings
// before them.
func (p *printer) keep(rows ...row) {
	all := append(p.head, rows...)
	p.head = nil
	h, room := heightOf(all), bottom-p.y
	whole := bottom - top - heightOf(p.tops)
	if h > room && !p.fresh && (h <= whole || room < 30) {
		p.next()
	}
	for _, r := range all {
		if p.y+r.height > bottom && !p.fresh {
			p.next()
		}
		r.draw(p.y)
		p.y += r.height
		p.fresh = false
	}
}

// next begins a page within what is being printed.
func (p *printer) next() {
	p.newPage()
	for _, r := range p.tops {
		r.draw(p.y)
		p.y += r.height
	}
}

// heading holds rows back until something follows them.
func (p *printer) heading(rows ...row) { p.head = append(p.head, rows...) }

func (p *printer) flush() { p.keep() }

// space is an empty row, which a page does not begin with.
func (p *printer) space(h float64) row { return row{h, func(float64) {}} }

// xmp is the metadata that readers and archives look for.
func xmp(d Document) []byte {
	esc := strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace
	at := d.Issued.UTC().Format(time.RFC3339)
	return fmt.Appendf(nil, `<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:title>
<dc:description><rdf:Alt><rdf:li xml:lang="x-default">%s</rdf:li></rdf:Alt></dc:description>
<dc:language><rdf:Bag><rdf:li>en-GB</rdf:li></rdf:Bag></dc:language>
<xmp:CreatorTool>%s</xmp:CreatorTool><xmp:CreateDate>%s</xmp:CreateDate><xmp:ModifyDate>%s</xmp:ModifyDate>
</rdf:Description></rdf:RDF></x:xmpmeta>
<?xpacket end="r"?>`, esc(d.Report.Title), esc(d.Report.Subject), esc(d.Program), at, at)
}
