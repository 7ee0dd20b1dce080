package can

import (
	"bytes"
)

// A Frame is one line of a log written by candump -l or -L:
//
//	(1805536931.125000) can0 3A1#8A0E2C01        three digits: standard
//	(1805536931.125300) can0 18FF50E5#11.22 T    eight: extended; direction
//	(1805536931.125700) can0 3A1##1AABB          CAN FD, one digit of flags
//	(1805536931.126100) can0 3A1#R4              remote: no data
//	(1805536931.126400) can0 3A1#1122334455667788_9   length code
//
// An identifier above 29 bits is that of an error frame. Source: the manual
// of candump in can-utils, from memory.
type Frame struct {
	Nanoseconds int64  // since 1970, or since the log began
	Digits      int    // of the fraction of a second
	Bus         []byte // "can0"; only until the next line is read
	ID          uint32
	Extended    bool
	Remote      bool // no data, a request
	Failure     bool // an error frame
	data        [64]byte
	Length      int // bytes of data
}

// Data are the bytes of the frame.
func (f *Frame) Data() []byte { return f.data[:f.Length] }

// errorFrame is the identifier from which on a frame is an error frame.
const errorFrame = 1 << 29

// Parse reads one line without its end, and reports whether it is a frame.
func (f *Frame) Parse(line []byte) bool {
	if len(line) == 0 || line[0] != '(' {
		return false
	}
	end := bytes.IndexByte(line, ')')
	if end < 0 || !f.time(line[1:end]) {
		return false
	}
	var ok bool
	if f.Bus, line, ok = word(line[end+1:]); !ok {
		return false
	}
	if line, ok = f.frame(line); !ok {
		return false
	}
	last, rest, more := word(line) // the direction, of which nothing depends
	return !more || len(bytes.TrimSpace(rest)) == 0 && len(last) == 1 && (last[0] == 'R' || last[0] == 'T')
}

// word gives the next word of a line.
func word(line []byte) (first, rest []byte, ok bool) {
	line = bytes.TrimLeft(line, " \t")
	k := bytes.IndexAny(line, " \t")
	if k < 0 {
		k = len(line)
	}
	return line[:k], line[k:], k > 0
}

// time reads "1805536931.125000".
func (f *Frame) time(text []byte) bool {
	whole, fraction, dotted := bytes.Cut(text, []byte{'.'})
	s, ok := digits(whole)
	if !ok || dotted && len(fraction) == 0 || len(fraction) > 9 {
		return false
	}
	f.Nanoseconds, f.Digits = s*1e9, len(fraction)
	unit := int64(1e9)
	for _, c := range fraction {
		if c < '0' || c > '9' {
			return false
		}
		unit /= 10
		f.Nanoseconds += int64(c-'0') * unit
	}
	return true
}

// frame reads identifier and data, and gives what follows them.
func (f *Frame) frame(line []byte) (rest []byte, ok bool) {
	text, rest, ok := word(line)
	k := bytes.IndexByte(text, '#')
	if !ok || k != 3 && k != 8 {
		return nil, false
	}
	f.ID, f.Extended = 0, k == 8
	for _, c := range text[:k] {
		d, ok := hexDigit(c)
		if !ok {
			return nil, false
		}
		f.ID = f.ID<<4 | uint32(d)
	}
	f.Failure = f.ID >= errorFrame
	f.Remote, f.Length = false, 0
	text = text[k+1:]
	switch {
	case len(text) > 0 && (text[0] == 'R' || text[0] == 'r'):
		f.Remote = true
		return rest, len(text) <= 4
	case len(text) > 1 && text[0] == '#': // CAN FD: a digit of flags
		if _, ok := hexDigit(text[1]); !ok {
			return nil, false
		}
		return rest, f.bytes(text[2:], 64)
	}
	text, _, _ = bytes.Cut(text, []byte{'_'})
	return rest, f.bytes(text, 8)
}

// bytes reads the data, in pairs of digits with points between, or none.
func (f *Frame) bytes(text []byte, most int) bool {
	for i := 0; i < len(text); i += 2 {
		if text[i] == '.' && i > 0 {
			i++
		}
		if i+1 >= len(text) || f.Length == most {
			return false
		}
		a, ok1 := hexDigit(text[i])
		b, ok2 := hexDigit(text[i+1])
		if !ok1 || !ok2 {
			return false
		}
		f.data[f.Length] = a<<4 | b
		f.Length++
	}
	return true
}

func hexDigit(c byte) (byte, bool) {
	switch {
	case c >= '0' && c <= '9':
		return c - '0', true
	case c >= 'A' && c <= 'F':
		return c - 'A' + 10, true
	case c >= 'a' && c <= 'f':
		return c - 'a' + 10, true
	}
	return 0, false
}

// digits reads a whole number of at most ten digits.
func digits(b []byte) (n int64, ok bool) {
	for _, c := range b {
		if c < '0' || c > '9' {
			return 0, false
		}
		n = n*10 + int64(c-'0')
	}
	return n, len(b) > 0 && len(b) <= 10
}
