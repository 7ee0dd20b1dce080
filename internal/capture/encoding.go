package capture

import (
	"bytes"
	"encoding/binary"
	"io"
	"strings"
	"unicode/utf8"
)

// The encodings that are told apart.
const (
	utf8Plain = "UTF-8"
	utf8BOM   = "UTF-8 with BOM"
	utf16LE   = "UTF-16 LE"
	utf16BE   = "UTF-16 BE"
	cp1252    = "Windows-1252"
)

// encodingOf tells the encoding from the first bytes. UTF-16 without a mark
// shows by the zero bytes of its digits. What is no UTF-8 is taken as
// Windows-1252, of which Latin-1 is a part: digits are the same in both.
func encodingOf(b []byte) string {
	switch {
	case bytes.HasPrefix(b, []byte{0xef, 0xbb, 0xbf}):
		return utf8BOM
	case bytes.HasPrefix(b, []byte{0xff, 0xfe}):
		return utf16LE
	case bytes.HasPrefix(b, []byte{0xfe, 0xff}):
		return utf16BE
	}
	even, odd, n := 0, 0, min(len(b), 4096)&^1
	for i := 0; i < n; i += 2 {
		if b[i] == 0 {
			even++
		}
		if b[i+1] == 0 {
			odd++
		}
	}
	switch {
	case odd > n*2/5 && even < n/50+1:
		return utf16LE
	case even > n*2/5 && odd < n/50+1:
		return utf16BE
	}
	if !utf8.Valid(wholeRunes(b)) {
		return cp1252
	}
	return utf8Plain
}

// wholeRunes cuts a character off that b ends in the middle of.
func wholeRunes(b []byte) []byte {
	for i := 1; i <= 3 && i <= len(b); i++ {
		if c := b[len(b)-i]; c >= 0xc0 {
			if !utf8.FullRune(b[len(b)-i:]) {
				return b[:len(b)-i]
			}
			break
		}
	}
	return b
}

// high are the characters of Windows-1252 from 0x80 to 0x9f.
const high = "€\u0081‚ƒ„…†‡ˆ‰Š‹Œ\u008dŽ\u008f\u0090‘’“”•–—˜™š›œ\u009džŸ"

// latin gives Windows-1252 bytes as text.
func latin(b []byte) string {
	table := []rune(high)
	var s strings.Builder
	for _, c := range b {
		if c >= 0x80 && c < 0xa0 {
			s.WriteRune(table[c-0x80])
		} else {
			s.WriteRune(rune(c))
		}
	}
	return s.String()
}

// utf16Reader gives UTF-8 for UTF-16. A byte order mark is left out; half a
// pair becomes U+FFFD.
type utf16Reader struct {
	r    io.Reader
	big  bool
	in   [8192]byte
	kept int // bytes of in not yet used
	out  []byte
	err  error
}

func (u *utf16Reader) Read(p []byte) (int, error) {
	for len(u.out) == 0 {
		if u.err != nil {
			return 0, u.err
		}
		n, err := u.r.Read(u.in[u.kept:])
		u.err = err
		u.convert(u.kept+n, err != nil)
	}
	n := copy(p, u.out)
	u.out = u.out[n:]
	return n, nil
}

// convert turns the first n bytes of in into out.
func (u *utf16Reader) convert(n int, last bool) {
	u.out = u.out[:0]
	i := 0
	for ; i+1 < n; i += 2 {
		r := u.unit(i)
		if r >= 0xd800 && r < 0xdc00 {
			if i+3 >= n && !last {
				break
			}
			if i+3 < n {
				if low := u.unit(i + 2); low >= 0xdc00 && low < 0xe000 {
					r = 0x10000 + (r-0xd800)<<10 + (low - 0xdc00)
					i += 2
				}
			}
		}
		if r != 0xfeff {
			u.out = utf8.AppendRune(u.out, r)
		}
	}
	u.kept = copy(u.in[:], u.in[i:n])
}

func (u *utf16Reader) unit(i int) rune {
	if u.big {
		return rune(binary.BigEndian.Uint16(u.in[i:]))
	}
	return rune(binary.LittleEndian.Uint16(u.in[i:]))
}

// crReader turns CR into LF.
type crReader struct{ r io.Reader }

func (c crReader) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	for i := range p[:n] {
		if p[i] == '\r' {
			p[i] = '\n'
		}
	}
	return n, err
}
