package capture

import (
	"bytes"
	"math"

	"hvproof/internal/quantity"
)

// use says what is done with a column.
type use int

const (
	asValue  use = iota // a number that is kept
	asMoment            // a date with time, or a time of day, that is kept
	asDate              // a date, added to the asMoment column after it
	asUnit              // the unit of the value before it, line by line
	unread              // not read
)

// field is a column of the file as the parser sees it.
type field struct {
	use use
	// to is the column of the result; -1 where nothing is kept.
	to int
	// shift is the power of ten to SI. For units that are none (counts, °C,
	// minutes) the value is (number − zero)·gain.
	shift      int
	affine     bool
	gain, zero float64
	// unit is the column with this value's unit, -1 if there is none, and
	// dim what the unit must be of.
	unit int
	dim  quantity.Dim
	name string
}

// parser turns lines into rows. It is read only once it is made.
type parser struct {
	delimiter, mark byte
	// sure says that the decimal mark was given, not found.
	sure   bool
	fields []field
	kept   int
	// times are the columns of the result that are times: they must be
	// numbers in every row.
	times []int
	// origin is subtracted from moments, ns since 1970.
	origin int64
	// quick says that lines may be read without splitting them first.
	quick bool
	// plain says that all columns are numbers of which only the power of ten
	// is off: lines may be read by templates.
	plain bool
}

// markAt is a value that is no number.
type markAt struct {
	row, column int
	token       token
	text        string
}

// junk is a line that is no row.
type junk struct {
	row  int // the row that follows it
	line int // in the block, from 0
	text string
	why  string
	// fatal is a fault wherever the line stands: it was meant as a row.
	fatal bool
	hint  string
}

// block is a run of whole lines and what was read of them.
type block struct {
	data []byte // with pad line ends behind size
	size int
	// cut says that the file ends with the last line of the block, without a
	// line end.
	cut bool

	columns [][]float64
	// even are the columns that are evenly spaced so far, and not in columns.
	even  []run
	rows  int
	lines int
	// templates are the layouts of the last lines, of earlier blocks too.
	templates []template
	numbers   [mostSlots][stretch]int64 // of the lines being read
	// digit is the least power of ten of a last digit, for each column.
	digit []int
	marks []markAt
	junk  []junk
	// jumps are the rows before which lines were passed over, with the
	// number of lines passed over so far in the block.
	jumps []jump
	done  chan struct{}
}

// jump says that from row on, a row stands lines lines further down.
type jump struct{ row, lines int }

// mostJunk is how many lines that are no rows a block may hold; beyond it
// the file is something else.
const mostJunk = 200

// mostMarks is how many values of a block may be no numbers.
const mostMarks = 1 << 20

// reset makes the block ready for its data.
func (k *block) reset(kept int, times []int) {
	lines := bytes.Count(k.data[:k.size], []byte{'\n'})
	if len(k.columns) != kept {
		k.columns = make([][]float64, kept)
		k.digit = make([]int, kept)
		k.even = make([]run, kept)
	}
	for c := range k.columns {
		if cap(k.columns[c]) < lines {
			k.columns[c] = make([]float64, lines+lines/8)
		}
		k.columns[c] = k.columns[c][:lines]
		k.digit[c] = math.MaxInt16
		k.even[c] = run{}
	}
	for _, c := range times {
		k.even[c].on = true
	}
	k.rows, k.lines, k.marks, k.junk, k.jumps = 0, 0, k.marks[:0], k.junk[:0], k.jumps[:0]
}

// settle writes an even column into columns: something uneven follows.
func (k *block) settle(c int) {
	if r := &k.even[c]; r.on {
		r.cut(k.rows)
		r.append(k.columns[c][:0])
		r.on = false
	}
}

// parse reads all lines of the block.
func (p *parser) parse(k *block) {
	times := p.times
	if !p.plain {
		times = nil
	}
	k.reset(p.kept, times)
	b, i := k.data, 0
	for i < k.size {
		if p.quick {
			if i = p.rowsFrom(k, i); i >= k.size {
				break
			}
		}
		for _, c := range times {
			k.settle(c)
		}
		end := i + bytes.IndexByte(b[i:], '\n')
		p.line(k, b[i:end], k.cut && end+1 >= k.size)
		k.lines++
		i = end + 1
	}
}

// rowsFrom reads plain rows from b[i:] until a line that is not one, and
// gives the place of that line.
func (p *parser) rowsFrom(k *block, i int) int {
	b, size, fields, delimiter, mark := k.data, k.size, p.fields, p.delimiter, p.mark
	if k.cut {
		size = 1 + bytes.LastIndexByte(b[:size-1], '\n') // the last line has its own rule
	}
	last := len(fields) - 1
	for i < size {
		if p.plain {
			if i = k.apply(i, size); i >= size {
				break
			}
		}
		at, row := i, k.rows
		for c := range fields {
			f := &fields[c]
			for b[at] == ' ' {
				at++
			}
			var x float64
			switch f.use {
			case asValue:
				n, next, ok := scan(b, at, mark)
				if !ok {
					goto stop
				}
				var exact bool
				x, exact = n.float(f.shift)
				if !exact {
					if x, ok = parseFloat(b[at:next], f.shift); !ok {
						goto stop
					}
				}
				if x >= beyond || x <= -beyond {
					goto stop
				}
				if f.affine {
					x = (x - f.zero) * f.gain
				}
				if e := n.exp + f.shift; e < k.digit[f.to] {
					k.digit[f.to] = e
				}
				at = next
				if k.even[f.to].on {
					if exact && p.goesOn(&k.even[f.to], n, f.shift) {
						break
					}
					k.settle(f.to)
				}
			default:
				next := at
				for b[next] != delimiter && b[next] != '\n' && b[next] != '"' {
					next++
				}
				if b[next] == '"' {
					goto stop
				}
				if f.use == asMoment {
					ns, ok := p.moment(b[at:next])
					if !ok {
						goto stop
					}
					x = float64(ns) / 1e9
				}
				at = next
			}
			if f.to >= 0 && !k.even[f.to].on {
				k.columns[f.to][row] = x
			}
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
		if p.plain {
			p.learn(k, b[i:at+1])
		}
		i = at + 1
		k.rows++
		k.lines++
	}
stop:
	for _, c := range p.times { // of the line that was not one
		k.even[c].cut(k.rows)
	}
	return i
}

// goesOn reports whether a number goes on with a run of times; if so it is in
// it.
func (p *parser) goesOn(r *run, n scanned, shift int) bool {
	m := int64(n.mantissa)
	if n.negative {
		if m = -m; m == 0 {
			return false
		}
	}
	return r.extend([]int64{m}, n.exp+shift)
}

// moment reads a date with time, or a time of day, as nanoseconds after the
// origin.
func (p *parser) moment(text []byte) (int64, bool) {
	ns, _, ok := parseMoment(bytes.TrimRight(text, " \r"))
	return ns - p.origin, ok
}
