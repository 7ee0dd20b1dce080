package capture

import "encoding/binary"

// numbersFrom does what rowsFrom does where every column is a plain number,
// which is the case that has to be fast. What it does not know (an exponent
// beyond the exact range, a marker, a quote) it leaves to others by stopping
// at the beginning of that line.
func (p *parser) numbersFrom(k *block, i, size int) int {
	b, fields, delimiter, mark := k.data, p.fields, p.delimiter, p.mark
	last := len(fields) - 1
	row := k.rows
	columns, digit := k.columns, k.digit
	var guess [16]int
	for i < size {
		at := i
		for c := range fields {
			f := &fields[c]
			for b[at] == ' ' {
				at++
			}
			negative := false
			if s := b[at]; s == '-' || s == '+' {
				negative = s == '-'
				at++
			}
			first := at
			m := uint64(0)
			for {
				d := b[at] - '0'
				if d > 9 {
					break
				}
				m = m*10 + uint64(d)
				at++
			}
			count := at - first
			exp := f.shift
			if b[at] == mark {
				at++
				value, n := eight(binary.LittleEndian.Uint64(b[at:]))
				m = m*scales[n] + value
				// A column has the same decimals in most rows. To go on by what
				// it had before, where that is right, lets the processor look
				// at the next number before it has counted the digits of this.
				if n != guess[c&15] {
					guess[c&15] = n
					at += n
				} else {
					at += guess[c&15]
				}
				count += n
				exp -= n
				if n == 8 {
					more := at
					for {
						d := b[at] - '0'
						if d > 9 {
							break
						}
						m = m*10 + uint64(d)
						at++
					}
					count += at - more
					exp -= at - more
				}
			}
			if b[at]|0x20 == 'e' {
				e, after, ok := exponent(b, at+1)
				if !ok {
					goto stop
				}
				exp += e
				at = after
			}
			if uint(count-1) >= 19 || m > 1<<53 || uint(exp+22) > 44 {
				goto stop
			}
			x := float64(m)
			if exp < 0 {
				x /= tens[-exp]
			} else {
				x *= tens[exp]
			}
			if x >= beyond {
				goto stop
			}
			if negative {
				x = -x
			}
			if exp < digit[f.to] {
				digit[f.to] = exp
			}
			columns[f.to][row] = x
			if c < last {
				if b[at] != delimiter {
					goto stop
				}
				at++
			}
		}
		for b[at] == ' ' {
			at++
		}
		if b[at] == delimiter {
			at++
		}
		if b[at] == '\r' {
			at++
		}
		if b[at] != '\n' {
			goto stop
		}
		i = at + 1
		row++
	}
stop:
	k.lines += row - k.rows
	k.rows = row
	return i
}
