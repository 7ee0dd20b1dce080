package pdf

import (
	"fmt"

	"rsc.io/qr"
)

// checkpoint prints the checkpoint with its QR code beside it: level M, four
// modules of white around it (ISO/IEC 18004, 5.3.8).
func (p *printer) checkpoint(text string) {
	const side, quiet = 46.0, 4
	code, err := qr.Encode(text+"\n", qr.M)
	if err != nil {
		p.f.SetErrorf("the checkpoint as a QR code: %v", err)
		return
	}
	module := side / float64(code.Size+2*quiet)
	lines := p.said("P", p.raw(text, left+3, width-side-6))
	h := max(side, heightOf(lines)) + 2
	picture := p.tag("Figure")
	picture.alt = "the same lines as a QR code"
	drawn := p.marked(picture, row{h, func(y float64) {
		picture.box = fmt.Sprintf("%.2f %.2f %.2f %.2f", (left+width-side)/pt, (pageHeight-y-side)/pt, (left+width)/pt, (pageHeight-y)/pt)
		p.f.SetFillColor(255, 255, 255)
		x := left + width - side
		p.f.Rect(x, y, side, side, "F")
		p.f.SetFillColor(0, 0, 0)
		for v := range code.Size {
			for u := 0; u < code.Size; u++ {
				n := 0
				for u+n < code.Size && code.Black(u+n, v) {
					n++
				}
				if n > 0 { // runs in one piece, so that no hairlines show between
					p.f.Rect(x+float64(u+quiet)*module, y+float64(v+quiet)*module, float64(n)*module, module+0.02, "F")
					u += n
				}
			}
		}
	}})[0]
	p.keep(row{h, func(y float64) {
		joined(lines).draw(y + 3)
		drawn.draw(y)
	}})
}
