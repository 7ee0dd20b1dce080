package pdf

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strings"

	"hvproof/internal/diag"
)

// glyphs are the characters of a font (the basic plane).
type glyphs map[rune]bool

// glyphsOf reads which characters a TrueType font has: the cmap table of
// format 4 (OpenType 1.9, cmap).
func glyphsOf(font []byte) (glyphs, error) {
	be := binary.BigEndian
	bad := errors.New("the font has no cmap table of format 4")
	for i := range int(be.Uint16(font[4:])) {
		t := font[12+16*i:]
		if string(t[:4]) != "cmap" {
			continue
		}
		cmap := font[be.Uint32(t[8:]):]
		for j := range int(be.Uint16(cmap[2:])) {
			sub := cmap[be.Uint32(cmap[4+8*j+4:]):]
			if be.Uint16(sub) != 4 {
				continue
			}
			n := int(be.Uint16(sub[6:])) // twice the number of segments
			g := glyphs{}
			for s := 0; s < n; s += 2 {
				last, first := be.Uint16(sub[14+s:]), be.Uint16(sub[16+n+s:])
				delta, at := be.Uint16(sub[16+2*n+s:]), be.Uint16(sub[16+3*n+s:])
				for c := int(first); c <= int(last) && c < 0xFFFF; c++ {
					glyph := uint16(c) + delta
					if at != 0 {
						glyph = be.Uint16(sub[16+3*n+s+int(at)+2*(c-int(first)):])
					}
					if glyph != 0 {
						g[rune(c)] = true
					}
				}
			}
			return g, nil
		}
	}
	return nil, bad
}

// bothHave gives the characters that two fonts have.
func bothHave(a, b []byte) (glyphs, error) {
	x, err := glyphsOf(a)
	if err != nil {
		return nil, err
	}
	y, err := glyphsOf(b)
	if err != nil {
		return nil, err
	}
	for c := range x {
		if !y[c] {
			delete(x, c)
		}
	}
	return x, nil
}

// plain writes out what cannot be printed and what could deceive a reader.
func (p *printer) plain(s string) string {
	s = diag.Printable(s)
	missing := func(c rune) bool { return !p.known[c] }
	if strings.IndexFunc(s, missing) < 0 {
		return s
	}
	var b strings.Builder
	for _, c := range s {
		if missing(c) {
			fmt.Fprintf(&b, `\u{%X}`, c)
		} else {
			b.WriteRune(c)
		}
	}
	return b.String()
}
