package capture

import (
	"bytes"
	"fmt"
	"math"

	"hvproof/internal/diag"
)

// sampleLines is how many lines of the head are looked at closely.
const sampleLines = 2000

// headLine is a line of the head.
type headLine struct {
	text []byte // without its end
	at   int    // where it begins in the head
}

// head is the beginning of a file as lines.
type head struct {
	file  string
	lines []headLine
	// cut says that the last line has no line end though it is the file's.
	cut   bool
	latin bool
}

// newHead parts the head into lines. The last one counts only if it is whole.
func newHead(s *source, opt Options) *head {
	h := &head{file: opt.name(), latin: s.set.Encoding == cp1252}
	b, at := s.head, 0
	for len(h.lines) < sampleLines {
		n := bytes.IndexByte(b[at:], '\n')
		if n < 0 {
			if s.whole && at < len(b) {
				h.lines = append(h.lines, headLine{content(b[at:]), at})
				h.cut = true
			}
			break
		}
		h.lines = append(h.lines, headLine{content(b[at : at+n]), at})
		at += n + 1
	}
	return h
}

// text gives line i as text.
func (h *head) text(b []byte) string {
	if h.latin {
		return latin(b)
	}
	return string(bytes.ToValidUTF8(b, []byte("\ufffd")))
}

// fault is an error at line i, from 0.
func (h *head) fault(i int, hint, format string, a ...any) error {
	p := diag.Problem{Place: diag.Place{File: h.file, Line: i + 1}, Message: fmt.Sprintf(format, a...), Hint: hint}
	if i >= 0 && i < len(h.lines) {
		p.Source = h.text(h.lines[i].text[:min(len(h.lines[i].text), 200)])
	}
	return bad(p)
}

// bad makes an error of one fault.
func bad(p diag.Problem) error {
	return &diag.Error{Class: diag.ClassBadInput, Message: p.Place.String() + ": " + p.Message, Hint: p.Hint, Problems: diag.List{p}}
}

// dialect is how lines are to be read.
type dialect struct {
	delimiter, mark byte
	// first is the first line of data, from 0; columns how many each has.
	first, columns int
	// mixed says that some columns are words.
	mixed bool
}

// reading is what one dialect makes of the sample.
type reading struct {
	dialect
	rows   int // lines that are rows of numbers
	values int // numbers and moments in them
	// proven: a comma that can be no separator of thousands was met.
	// grouped: one that can be, and unsure one that must be asked about.
	proven  bool
	grouped int // line of the first, from 1
	unsure  int // likewise
}

// candidates are the delimiters that are tried, in the order of preference
// where the values come out the same.
var candidates = []byte{',', ';', '\t', '|', ' '}

// delimiters by their names in Options.
var delimiters = map[string]byte{",": ',', ";": ';', "tab": '\t', "\t": '\t', "space": ' ', " ": ' ', "|": '|'}

// nameOf gives the name of a delimiter.
func nameOf(delimiter byte) string {
	switch delimiter {
	case '\t':
		return "tab"
	case ' ':
		return "space"
	}
	return string(delimiter)
}

// dialect finds delimiter and decimal mark, and where the data begin.
func (h *head) dialect(opt Options) (dialect, error) {
	all, err := h.readings(opt, false)
	if err != nil {
		return dialect{}, err
	}
	if best(all).rows < 2 {
		mixed, err := h.readings(opt, true)
		if err != nil {
			return dialect{}, err
		}
		if b := best(mixed); b.rows >= 2 {
			all = mixed
		}
	}
	b := best(all)
	if b.rows == 0 {
		return dialect{}, h.fault(0, "a capture is a table of numbers, one sample to a line; what is this file?",
			"no rows of numbers in the first %d lines", len(h.lines))
	}
	for _, other := range all {
		if other.unsure > b.unsure {
			continue // "1.234" is a number as it stands
		}
		as := other.rows*10 >= b.rows*9
		if b.mixed {
			as = other.values*10 >= b.values*9
		}
		if as && h.differ(b.dialect, other.dialect) {
			return dialect{}, h.twoWays(b, other)
		}
	}
	return b.dialect, h.sure(b, opt)
}

// readings tries all dialects that opt leaves.
func (h *head) readings(opt Options, mixed bool) ([]reading, error) {
	try := candidates
	if opt.Delimiter != "" {
		d, ok := delimiters[opt.Delimiter]
		if !ok {
			return nil, diag.Bad("one of , ; tab space |", "%q is no delimiter", opt.Delimiter)
		}
		try = []byte{d}
	}
	marks := []byte{'.', ','}
	switch opt.Decimal {
	case "":
	case ".", ",":
		marks = []byte(opt.Decimal)
	default:
		return nil, diag.Bad(`"." or ","`, "%q is no decimal mark", opt.Decimal)
	}
	proven := opt.Delimiter == "" && opt.Decimal == "" && h.proveComma()
	var all []reading
	for _, mark := range marks {
		for _, d := range try {
			if proven && (d == ',' || mark == '.') || d == ',' && mark == ',' && !h.quotes() {
				continue
			}
			all = append(all, h.read(d, mark, opt.Decimal != "", mixed))
		}
	}
	if len(all) == 0 {
		return nil, diag.Bad("give the other one, too, or none", "the comma cannot be both delimiter and decimal mark")
	}
	return all, nil
}

// quotes reports that fields are quoted, so that a comma may stand in them.
func (h *head) quotes() bool {
	for _, l := range h.lines {
		if bytes.IndexByte(l.text, '"') >= 0 {
			return true
		}
	}
	return false
}

// proveComma looks for "dt;0,00005": a number with a decimal comma between
// other delimiters. It proves the mark for the whole file.
func (h *head) proveComma() bool {
	var room [64][]byte
	for _, d := range []byte{';', '\t'} {
		for _, l := range h.lines {
			if bytes.IndexByte(l.text, d) < 0 {
				continue
			}
			for _, part := range split(room[:0], l.text, d) {
				if t, ok := plainNumber(part, ',', 0); ok && t.proven {
					return true
				}
			}
		}
	}
	return false
}

// read looks at the sample in one dialect.
func (h *head) read(delimiter, mark byte, sure, mixed bool) reading {
	count := map[int]*reading{}
	var order []*reading
	var room [256][]byte
	for i, l := range h.lines {
		if len(trim(l.text)) == 0 || isComment(l.text, delimiter) {
			continue
		}
		parts := split(room[:0], l.text, delimiter)
		for len(parts) > 1 && len(parts[len(parts)-1]) == 0 {
			parts = parts[:len(parts)-1]
		}
		seen := reading{dialect: dialect{delimiter: delimiter, mark: mark, first: i, columns: len(parts), mixed: mixed}}
		if !h.count(&seen, parts, i, sure) {
			continue
		}
		r, met := count[len(parts)]
		if !met {
			r = &seen
			count[len(parts)] = r
			order = append(order, r)
		} else {
			r.values += seen.values
			r.proven = r.proven || seen.proven
			r.grouped, r.unsure = firstOf(r.grouped, seen.grouped), firstOf(r.unsure, seen.unsure)
		}
		r.rows++
	}
	var b reading
	for _, r := range order {
		// Of as many rows the later kind: a preamble stands before the data.
		if r.rows >= b.rows {
			b = *r
		}
	}
	return b
}

// count judges one line; false where it is no row.
func (h *head) count(r *reading, parts [][]byte, i int, sure bool) bool {
	words := 0
	for _, part := range parts {
		switch t := classify(part, r.mark, sure, 0); t.kind {
		case isNumber:
			r.values++
			r.proven = r.proven || t.proven
			if t.grouped && r.grouped == 0 {
				r.grouped = i + 1
			}
		case isMoment, isClipped:
			r.values++
		case isUnsure:
			r.values++
			r.unsure = firstOf(r.unsure, i+1)
		case isText:
			words++
		}
	}
	if r.mixed {
		return r.values > 0 && len(parts) > 2
	}
	return r.values > 0 && words == 0
}

// firstOf is the first of two lines, 0 meaning none.
func firstOf(a, b int) int {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}

// best is the reading with most rows; of equal ones the first, but a mixed
// one counts by its numbers.
func best(all []reading) reading {
	var b reading
	for _, r := range all {
		if r.mixed && r.values > b.values || !r.mixed && r.rows > b.rows {
			b = r
		}
	}
	return b
}

// differ reports whether two dialects give other values for the data.
func (h *head) differ(a, b dialect) bool {
	if a.columns != b.columns {
		return true
	}
	for _, l := range h.lines[max(a.first, b.first):] {
		x, y := split(nil, l.text, a.delimiter), split(nil, l.text, b.delimiter)
		for c := range min(len(x), len(y), a.columns) {
			s, t := classify(x[c], a.mark, false, 0), classify(y[c], b.mark, false, 0)
			if s.kind != t.kind || s.kind == isNumber && math.Float64bits(s.x) != math.Float64bits(t.x) {
				return true
			}
		}
	}
	return false
}
