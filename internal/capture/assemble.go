package capture

import (
	"fmt"
	"math"
	"strings"

	"hvproof/internal/diag"
)

// mostSkipped is how many skipped lines are kept with their text.
const mostSkipped = 100

// table is all rows of a file, as they are being put together.
type table struct {
	l    *layout
	name string
	max  int64 // values that may be kept
	// guess is about how many bytes there will be, 0 if not known, and 0
	// again once there is room for them.
	guess int
	// parts are the columns as they come, columns what they make.
	parts   []column
	columns [][]float64
	even    []*run // times that are evenly spaced: not in columns
	rows    int
	lines   int64 // lines of all blocks so far, with the header
	digit   []int
	spans   [][]Span // by column
	nspans  int
	jumps   []jump // rows and lines, of the whole file
	// waiting are lines that are no rows, until it shows whether rows follow.
	waiting []junk
	skipped []LineNote
	nskip   int
	notes   []Note
	repeats int
	// half are the half widths of envelopes, by column.
	half       [][]float64
	recordings []Recording
}

// mostSpans is how many runs of markers a file may hold.
const mostSpans = 1 << 20

func newTable(l *layout, size int64) *table {
	t := &table{l: l, name: l.head.file, max: l.opt.MaxValues, lines: int64(l.first),
		parts: make([]column, l.p.kept), columns: make([][]float64, l.p.kept), even: make([]*run, l.p.kept), digit: make([]int, l.p.kept), spans: make([][]Span, l.p.kept)}
	if t.max <= 0 {
		t.max = 500_000_000
	}
	for c := range t.digit {
		t.digit[c] = math.MaxInt16
	}
	t.guess = int(size)
	return t
}

// take appends a block.
func (t *table) take(k *block) error {
	if t.guess > 0 && k.rows > 0 {
		t.reserve(k)
	}
	if int64(t.rows+k.rows)*int64(len(t.columns)) > t.max {
		return t.fault(t.lines, "", fmt.Sprintf("more than %d numbers", t.max), "cut the file, or leave channels out")
	}
	if err := t.junk(k); err != nil {
		return err
	}
	for c, from := range k.columns {
		if k.even[c].on && k.rows > 0 {
			t.parts[c].addEven(k.even[c])
		} else {
			t.parts[c].add(from[:k.rows], k.digit[c])
		}
		t.digit[c] = min(t.digit[c], k.digit[c])
	}
	for _, m := range k.marks {
		if err := t.mark(m); err != nil {
			return err
		}
	}
	for _, j := range k.jumps {
		t.jumps = append(t.jumps, jump{t.rows + j.row, int(t.lines) + j.row + j.lines - (t.rows + j.row)})
	}
	t.rows += k.rows
	t.lines += int64(k.lines)
	return nil
}

// reserve makes room for all rows, by the length of those of the first block.
func (t *table) reserve(k *block) {
	rows := int(float64(t.guess)*float64(k.rows)/float64(k.size)*1.02) + 64
	rows = min(rows, int(t.max)/len(t.parts)+1)
	for c := range t.parts {
		if !k.even[c].on {
			t.parts[c].reserve(rows)
		}
	}
	t.guess = 0
}

// mark adds a value that is no number to its span.
func (t *table) mark(m markAt) error {
	row := t.rows + m.row
	spans := t.spans[m.column]
	s := Span{From: row, To: row + 1, Side: m.token.side, Limit: math.NaN(), Text: m.text}
	missing := m.token.kind != isClipped
	if missing {
		s.Side = sideMissing
	} else {
		s.Limit = m.token.x
	}
	if n := len(spans); n > 0 && spans[n-1].To == row && spans[n-1].Side == s.Side &&
		(spans[n-1].Limit == s.Limit || math.IsNaN(spans[n-1].Limit) && math.IsNaN(s.Limit)) {
		spans[n-1].To++
		return nil
	}
	if t.nspans++; t.nspans > mostSpans {
		return t.fault(t.line(row), "", "more markers than numbers", "is this a capture?")
	}
	t.spans[m.column] = append(spans, s)
	return nil
}

// sideMissing marks a span of which nothing is known, while the table is
// being put together.
const sideMissing = -1

// junk looks at the lines that are no rows. One that rows follow is a fault,
// unless it is a remark or the header once more.
func (t *table) junk(k *block) error {
	for i := range k.junk {
		j := k.junk[i]
		j.row += t.rows
		at := t.lines + int64(j.line)
		if j.fatal {
			return t.fault(at, j.text, j.why, j.hint)
		}
		if err := t.settle(j.row); err != nil {
			return err
		}
		j.line = int(at)
		switch {
		case j.why == "a remark":
			t.skip(j)
		case t.l.repeats(j.text):
			j.why = "the header stands here again"
			if t.repeats++; t.repeats == 1 {
				t.note(NoteRepeatedHeader, at, "the header stands again at line %d: recording was interrupted there", at+1)
			}
			t.skip(j)
		default:
			if len(t.waiting) == mostJunk {
				return t.fault(at, j.text, "too many lines that are no rows of numbers", "is this a capture at all?")
			}
			t.waiting = append(t.waiting, j)
		}
	}
	return t.settle(t.rows + k.rows)
}

// settle refuses the lines that wait, if there are rows after them.
func (t *table) settle(rows int) error {
	if len(t.waiting) == 0 || t.waiting[0].row >= rows {
		return nil
	}
	j := t.waiting[0]
	hint := j.hint
	if hint == "" {
		hint = "cut it out, or split the file if another recording begins here"
	}
	return t.fault(int64(j.line), j.text, j.why+", between rows of numbers", hint)
}

// skip keeps a line that is not read.
func (t *table) skip(j junk) {
	if t.nskip++; t.nskip <= mostSkipped {
		text := []rune(j.text)
		t.skipped = append(t.skipped, LineNote{Line: int64(j.line) + 1, Text: string(text[:min(80, len(text))]), Why: j.why})
	}
}

// note keeps an oddity; line counts from 0, -1 means none.
func (t *table) note(code string, line int64, format string, a ...any) {
	t.notes = append(t.notes, Note{Code: code, Line: line + 1, Sentence: fmt.Sprintf(format, a...)})
}

// fault is an error at a line, from 0.
func (t *table) fault(line int64, text, message, hint string) error {
	if t.l.head.latin {
		text = latin([]byte(text))
	}
	return bad(diag.Problem{Place: diag.Place{File: t.name, Line: int(line) + 1}, Message: message, Hint: hint,
		Source: strings.ToValidUTF8(text, "\ufffd")})
}

// line gives the line of a row, from 0.
func (t *table) line(row int) int64 {
	line := int64(t.l.first) + int64(row)
	for i := len(t.jumps) - 1; i >= 0; i-- {
		if t.jumps[i].row <= row {
			return int64(row) + int64(t.jumps[i].lines)
		}
	}
	return line
}

// end looks at the lines that no row followed, when all blocks are in.
func (t *table) end() {
	for _, j := range t.waiting {
		if strings.HasPrefix(j.why, "the file ends") {
			t.note(NoteCutShort, int64(j.line), "the file ends inside line %d: that line is not read", j.line+1)
		} else if len(t.notes) == 0 || t.notes[len(t.notes)-1].Code != NoteCutShort {
			t.note(NoteTrailer, int64(j.line), "from line %d on there are no more rows of numbers: %q", j.line+1, short([]byte(j.text)))
		}
		t.skip(j)
	}
	t.waiting = nil
}

// repeats reports whether a line is one of the header's, or one of its keys
// with another value. A line that says something about units or time must be
// the same to the letter.
func (l *layout) repeats(text string) bool {
	if l.headerLines == nil {
		l.headerLines = map[string]bool{}
		for i := range l.first {
			l.headerLines[strings.TrimSpace(string(l.head.lines[i].text))] = true
		}
	}
	if l.headerLines[strings.TrimSpace(text)] {
		return true
	}
	var parts []string
	for _, p := range split(nil, []byte(text), l.delimiter) {
		parts = append(parts, string(p))
	}
	p, ok := pairOf(parts)
	if !ok || known(p.key) {
		return false
	}
	for _, q := range l.header.pairs {
		if q.key == p.key {
			return true
		}
	}
	return false
}
