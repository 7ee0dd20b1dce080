package capture

import (
	"bytes"
	"encoding/binary"
	"math/bits"
	"strconv"
)

// tens are the powers of ten that a float64 holds exactly.
var tens = [...]float64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10,
	1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22}

// scales are the powers of ten by which up to eight more digits move those
// before them.
var scales = [9]uint64{1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8}

// scanned is a number as its digits stand: mantissa·10^exp, with the sign.
type scanned struct {
	mantissa uint64
	exp      int
	negative bool
	// long says that the digits do not fit: the text itself must be read.
	long bool
}

// pad is how many bytes a block must hold after its end, so that eight can
// be looked at from any place in it. They are line ends.
const pad = 8

// scan reads the longest number at b[at:] whose decimal mark is mark, and
// gives the place after it. It stops at the first byte that cannot belong to
// a number; the caller looks at that byte. ok is false where there is none.
// b must hold pad bytes after the line.
func scan(b []byte, at int, mark byte) (n scanned, next int, ok bool) {
	i := at
	if c := b[i]; c == '-' || c == '+' {
		n.negative = c == '-'
		i++
	}
	first := i
	m := uint64(0)
	for {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		m = m*10 + uint64(d)
		i++
	}
	digits := i - first
	exp := 0
	if b[i] == mark {
		i++
		fraction := i
		// Eight at a time: most of what a scope writes.
		if chunk, size := eight(binary.LittleEndian.Uint64(b[i:])); size > 0 {
			m = m*scales[size] + chunk
			i += size
			if size == 8 {
				for {
					d := b[i] - '0'
					if d > 9 {
						break
					}
					m = m*10 + uint64(d)
					i++
				}
			}
		}
		exp = fraction - i
		digits += i - fraction
	}
	if digits == 0 {
		return n, at, false
	}
	n.long = digits > 19
	if b[i]|0x20 == 'e' {
		e, after, good := exponent(b, i+1)
		if !good {
			return n, at, false
		}
		exp += e
		i = after
	}
	n.mantissa, n.exp = m, exp
	return n, i, true
}

// eight gives the number that the leading digits of eight bytes make, the
// first in the lowest byte, and how many they are.
func eight(x uint64) (value uint64, size int) {
	x ^= 0x3030303030303030
	// A byte is no digit if it is above 9 now.
	odd := ((x&0x7f7f7f7f7f7f7f7f + 0x7676767676767676) | x) & 0x8080808080808080
	size = bits.TrailingZeros64(odd) >> 3
	// Move the digits to the top: leading zeros are worth nothing. A shift by
	// 64 leaves nothing, as it should.
	x <<= uint(8-size) * 8
	x = x*10 + x>>8
	return ((x&0x000000ff000000ff)*0x000f424000000064 +
		(x>>16&0x000000ff000000ff)*0x0000271000000001) >> 32, size
}

// exponent reads the digits after an e.
func exponent(b []byte, i int) (e, next int, ok bool) {
	negative := false
	if c := b[i]; c == '-' || c == '+' {
		negative = c == '-'
		i++
	}
	first := i
	for {
		d := b[i] - '0'
		if d > 9 {
			break
		}
		if e < 10000 {
			e = e*10 + int(d)
		}
		i++
	}
	if negative {
		e = -e
	}
	return e, i, i > first
}

// float gives the float64 nearest to the number times 10^shift. It is exact
// (a quotient or product of two exact numbers, rounded once) where exact is
// true; else the text must go through strconv.
func (n scanned) float(shift int) (x float64, exact bool) {
	e := n.exp + shift
	if n.long || n.mantissa > 1<<53 {
		return 0, false
	}
	if e > 22 || e < -22 {
		if n.mantissa != 0 {
			return 0, false
		}
		e = 0
	}
	x = float64(n.mantissa)
	if e < 0 {
		x /= tens[-e]
	} else {
		x *= tens[e]
	}
	if n.negative {
		x = -x
	}
	return x, true
}

// parseFloat gives the float64 nearest to the number in text times 10^shift,
// through strconv. text is what scan took, with a decimal point or comma.
func parseFloat(text []byte, shift int) (float64, bool) {
	var room [64]byte
	plain := append(room[:0], text...)
	exp := shift
	if k := bytes.IndexAny(plain, "eE"); k >= 0 {
		e, _, ok := exponent(append(plain[k+1:len(plain):len(plain)], 0), 0)
		if !ok {
			return 0, false
		}
		exp += e
		plain = plain[:k]
	}
	if k := bytes.IndexByte(plain, ','); k >= 0 {
		plain[k] = '.'
	}
	plain = append(plain, 'e')
	plain = strconv.AppendInt(plain, int64(exp), 10)
	x, err := strconv.ParseFloat(string(plain), 64)
	return x, err == nil
}
