package capture

import (
	"bytes"
	"fmt"
	"math"
)

// line reads one line with all that may be odd about it.
func (p *parser) line(k *block, raw []byte, cut bool) {
	line := content(raw)
	if len(trim(line)) == 0 {
		p.pass(k)
		return
	}
	if isComment(line, p.delimiter) {
		p.reject(k, line, junk{why: "a remark"})
		return
	}
	var room [32][]byte
	parts := split(room[:0], line, p.delimiter)
	for len(parts) > len(p.fields) && len(parts[len(parts)-1]) == 0 {
		parts = parts[:len(parts)-1]
	}
	if cut && !p.whole(k, line, parts) {
		p.reject(k, line, junk{why: "the file ends inside this line"})
		return
	}
	if blank(parts) {
		p.pass(k)
		return
	}
	if len(parts) != len(p.fields) {
		p.reject(k, line, p.count(line, parts))
		return
	}
	p.row(k, line, parts)
}

// whole reports whether a last line without a line end is complete: as many
// values as the others, and as many digits after the mark as the nearest row
// before. "36" could be the beginning of "361.9".
func (p *parser) whole(k *block, line []byte, parts [][]byte) bool {
	last := len(p.fields) - 1
	if len(parts) != len(p.fields) || len(parts[last]) == 0 {
		return false
	}
	if p.fields[last].use == unread {
		return true
	}
	decimals := func(b []byte) int { return len(b) - 1 - bytes.IndexByte(b, p.mark) }
	if bytes.IndexByte(parts[last], p.mark) < 0 {
		return false
	}
	before := bytes.TrimRight(k.data[:k.size], "\n")
	for range 100 {
		n := bytes.LastIndexByte(before, '\n')
		if n < 0 {
			return false
		}
		before = before[:n]
		earlier := split(nil, content(before[1+bytes.LastIndexByte(before, '\n'):]), p.delimiter)
		if len(earlier) > last && bytes.IndexByte(earlier[last], p.mark) >= 0 {
			return decimals(earlier[last]) == decimals(parts[last])
		}
	}
	return false
}

// count says what is wrong with a line of the wrong number of fields.
func (p *parser) count(line []byte, parts [][]byte) junk {
	numbers := 0
	for _, part := range parts {
		if t := classify(part, p.mark, p.sure, 0); t.kind != isText && t.kind != isEmpty {
			numbers++
		}
	}
	j := junk{why: fmt.Sprintf("%s where the rows before have %d", plural(len(parts), "value"), len(p.fields))}
	if numbers > 0 && numbers >= len(parts)-1 && len(parts) > 1 || numbers == len(parts) {
		j.fatal, j.hint = true, "each row needs the same columns"
		if p.delimiter == ',' && len(parts) > len(p.fields) && bytes.IndexByte(line, '.') < 0 {
			j.hint = "the comma seems to stand for both the delimiter and the decimal mark: export with another delimiter"
		}
	}
	return j
}

func blank(parts [][]byte) bool {
	for _, part := range parts {
		if len(part) > 0 {
			return false
		}
	}
	return true
}

// row keeps a line of the right number of fields, if every field is what its
// column wants.
func (p *parser) row(k *block, line []byte, parts [][]byte) {
	first := len(k.marks)
	var date int64
	for c := range p.fields {
		f := &p.fields[c]
		switch f.use {
		case asDate:
			ns, dated, ok := parseMoment(parts[c])
			if !ok || !dated {
				p.undo(k, first, line, junk{why: fmt.Sprintf("%q is no date", short(parts[c]))})
				return
			}
			date = ns
		case asMoment:
			ns, dated, ok := parseMoment(parts[c])
			if !ok {
				p.undo(k, first, line, junk{why: fmt.Sprintf("%q is no time", short(parts[c]))})
				return
			}
			if !dated {
				ns += date
			}
			k.columns[f.to][k.rows] = float64(ns-p.origin) / 1e9
		case asValue:
			if bad := p.value(k, c, parts); bad != nil {
				p.undo(k, first, line, *bad)
				return
			}
		}
	}
	k.rows++
}

// value keeps one number or marker; it gives what is wrong with it.
func (p *parser) value(k *block, c int, parts [][]byte) *junk {
	f := &p.fields[c]
	shift, gain, zero, affine := f.shift, f.gain, f.zero, f.affine
	if f.unit >= 0 {
		u, ok := unitOf(string(parts[f.unit]))
		if !ok || u.dim != f.dim {
			return &junk{why: fmt.Sprintf("%q is no unit that column %d can have", short(parts[f.unit]), c+1), fatal: true,
				hint: "the unit may change from row to row, but not from one quantity to another"}
		}
		shift, gain, zero, affine = u.shift, u.gain, u.zero, u.affine
	}
	t := classify(parts[c], p.mark, p.sure, shift)
	x := t.x
	if affine {
		x = (x - zero) * gain
	}
	switch t.kind {
	case isNumber:
		k.columns[f.to][k.rows] = x
		k.digit[f.to] = min(k.digit[f.to], t.exp)
		return nil
	case isUnsure:
		return &junk{why: fmt.Sprintf("%q can be read in two ways", parts[c]), fatal: true, hint: hintUnsure(parts[c])}
	case isClipped, isMissing, isEmpty:
		for _, at := range p.times {
			if at == f.to {
				return &junk{why: "the row has no time", fatal: true, hint: "cut the row out, or export the file again"}
			}
		}
		if len(k.marks) >= mostMarks {
			return &junk{why: "too many values that are no numbers", fatal: true}
		}
		t.x = x
		k.columns[f.to][k.rows] = math.NaN()
		k.marks = append(k.marks, markAt{row: k.rows, column: f.to, token: t, text: string(parts[c])})
		return nil
	}
	bad := &junk{why: fmt.Sprintf("%q is no number", short(parts[c]))}
	if p.mark == '.' && bytes.IndexByte(parts[c], ',') >= 0 {
		bad.hint = "if the comma is the decimal mark, say so with --decimal-comma"
	}
	return bad
}

// hintUnsure says what settles "1,234".
func hintUnsure(text []byte) string {
	if bytes.IndexByte(text, ',') >= 0 {
		return "--decimal-comma makes it a decimal comma, --decimal-point a separator of thousands"
	}
	return "--decimal-point makes it a decimal point, --decimal-comma a separator of thousands"
}

// pass passes over a line that says nothing.
func (p *parser) pass(k *block) {
	lines := 1
	if n := len(k.jumps); n > 0 {
		lines += k.jumps[n-1].lines
		if k.jumps[n-1].row == k.rows {
			k.jumps[n-1].lines = lines
			return
		}
	}
	k.jumps = append(k.jumps, jump{k.rows, lines})
}

// reject keeps a line as junk.
func (p *parser) reject(k *block, line []byte, j junk) {
	p.pass(k)
	j.row, j.line = k.rows, k.lines
	if len(line) > 400 {
		line = line[:400]
	}
	j.text = string(line)
	if len(k.junk) == mostJunk {
		j.why, j.fatal, j.hint = "too many lines that are no rows of numbers", true, "is this a capture at all?"
	}
	if len(k.junk) <= mostJunk {
		k.junk = append(k.junk, j)
	}
}

// undo takes a half read row back.
func (p *parser) undo(k *block, marks int, line []byte, j junk) {
	k.marks = k.marks[:marks]
	p.reject(k, line, j)
}

// short is a field as it may stand in a message.
func short(b []byte) string {
	if len(b) > 40 {
		b = b[:40]
	}
	return string(b)
}
