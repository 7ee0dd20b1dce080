package bay

import (
	"fmt"
	"html/template"
	"strings"

	"rsc.io/qr"
)

// quiet is the white around a QR code, in modules: ISO/IEC 18004 asks for four.
const quiet = 4

// qrDrawing gives a QR code as an SVG drawing.
func qrDrawing(text string) (template.HTML, error) {
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", err
	}
	size := c.Size + 2*quiet
	var path strings.Builder
	for y := range c.Size {
		for x := range c.Size {
			if c.Black(x, y) {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+quiet, y+quiet)
			}
		}
	}
	return template.HTML(fmt.Sprintf(`<svg class="qr" viewBox="0 0 %d %d" aria-hidden="true"><path class="paper" d="M0 0h%dv%dh-%dz"/><path class="module" d="%s"/></svg>`,
		size, size, size, size, size, path.String())), nil
}

// QRText gives a QR code in characters for a terminal, two modules to a
// character, dark on light whatever the terminal's colours.
func QRText(text string) (string, error) {
	c, err := qr.Encode(text, qr.M)
	if err != nil {
		return "", err
	}
	light := func(x, y int) bool { return !c.Black(x, y) } // Black is false outside
	var b strings.Builder
	for y := -quiet; y < c.Size+quiet; y += 2 {
		for x := -quiet; x < c.Size+quiet; x++ {
			switch {
			case light(x, y) && light(x, y+1):
				b.WriteRune('█')
			case light(x, y):
				b.WriteRune('▀')
			case light(x, y+1):
				b.WriteRune('▄')
			default:
				b.WriteRune(' ')
			}
		}
		b.WriteByte('\n')
	}
	return b.String(), nil
}
