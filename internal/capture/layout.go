package capture

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/quantity"
)

// layout is what every column of a file is.
type layout struct {
	dialect
	head   *head
	header header
	opt    Options
	p      parser
	set    *Settings
	// left is how many columns on the left hold a preamble.
	left int
	// kinds counts what the sample holds, by column and kind.
	kinds [][isText + 1]int
	// units says of each column whether all its words are units.
	unitWords []bool

	names    []string
	units    []string
	channels []channelPlan
	times    []int // columns of the file that are times
	// interval and start are those of the header or the options; 0 where
	// there are times.
	interval, start float64
	// declared is an interval in the header of a file that has times, s.
	declared     float64
	declaredLine int
	// clock says that times are of the clock; undated that they have no date.
	clock, undated bool
	// clockDigit is how finely the clock is written, s.
	clockDigit float64
	// headerLines are the lines of the header, made when first needed.
	headerLines map[string]bool
}

// channelPlan is a channel to be made.
type channelPlan struct {
	name, unit string
	dim        quantity.Dim
	column     int // of the file
	value      int // column of the result with the values
	time       int // column of the result with the times, -1 if none
}

// newLayout finds out what the columns are.
func newLayout(h *head, d dialect, opt Options, set *Settings) (*layout, error) {
	l := &layout{dialect: d, head: h, opt: opt, set: set}
	if d.mixed {
		l.firstMixed()
	}
	l.extendUp()
	l.header = h.readHeader(l.dialect)
	l.leftPairs()
	l.sample()
	l.names, l.units = fitted(l.header.names, d.columns), fitted(l.header.units, d.columns)
	l.p = parser{delimiter: d.delimiter, mark: d.mark, sure: opt.Decimal != "", fields: make([]field, d.columns)}
	if err := l.findTimes(); err != nil {
		return nil, err
	}
	if err := l.assign(); err != nil {
		return nil, err
	}
	l.setOrigin()
	l.quick()
	set.Delimiter, set.Decimal, set.HeaderLines = nameOf(d.delimiter), string(d.mark), l.first
	if d.columns == 1 {
		set.Delimiter = "none"
	}
	return l, nil
}

// row gives the fields of line i if it is one of data.
func (l *layout) row(i int) [][]byte {
	line := l.head.lines[i].text
	if len(trim(line)) == 0 || isComment(line, l.delimiter) {
		return nil
	}
	parts := split(nil, line, l.delimiter)
	for len(parts) > l.columns && len(parts[len(parts)-1]) == 0 {
		parts = parts[:len(parts)-1]
	}
	if len(parts) != l.columns {
		return nil
	}
	for _, part := range parts[l.left:] {
		if !l.mixed && l.classify(part).kind == isText {
			return nil
		}
	}
	return parts
}

// firstMixed finds the first row that is like the last one: words where it
// has words.
func (l *layout) firstMixed() {
	last := len(l.head.lines) - 1
	if l.head.cut {
		last--
	}
	var want []bool
	for i := last; i >= 0; i-- {
		parts := l.row(i)
		if parts == nil {
			continue
		}
		words := make([]bool, len(parts))
		for c, part := range parts {
			words[c] = l.classify(part).kind == isText
		}
		if want == nil {
			want = words
		}
		if !slices.Equal(want, words) {
			return
		}
		l.first = i
	}
}

// extendUp takes in the rows before the first one that have a preamble in
// their left columns: "Record Length,2500,,-0.1000,0.40".
func (l *layout) extendUp() {
	parts := l.row(l.first)
	for l.left < len(parts) && len(parts[l.left]) == 0 {
		l.left++
	}
	for l.left > 0 && l.first > 0 && l.row(l.first-1) != nil {
		l.first--
	}
}

// leftPairs reads the preamble that stands in the left columns.
func (l *layout) leftPairs() {
	for i := l.first; l.left > 0 && i < len(l.head.lines); i++ {
		var left []string
		for _, part := range l.row(i) {
			left = append(left, l.head.text(part))
		}
		if p, ok := pairOf(left[:min(len(left), l.left)]); ok {
			p.line = i + 1
			l.header.pairs = append(l.header.pairs, p)
		}
	}
}

// sample counts the kinds of fields in each column.
func (l *layout) sample() {
	l.kinds = make([][isText + 1]int, l.columns)
	l.unitWords = make([]bool, l.columns)
	for c := range l.unitWords {
		l.unitWords[c] = true
	}
	for i := l.first; i < len(l.head.lines); i++ {
		for c, part := range l.row(i) {
			if c < l.left {
				continue
			}
			k := l.classify(part).kind
			l.kinds[c][k]++
			if k == isText {
				if _, ok := unitOf(string(part)); !ok {
					l.unitWords[c] = false
				}
			}
		}
	}
}

// is reports that column c holds such fields, and no words.
func (l *layout) is(c int, k kind) bool { return l.kinds[c][k] > 0 && l.kinds[c][isText] == 0 }

// numeric reports a column of numbers or markers.
func (l *layout) numeric(c int) bool {
	return l.kinds[c][isNumber]+l.kinds[c][isClipped]+l.kinds[c][isMissing] > 0 && l.kinds[c][isText] == 0 && l.kinds[c][isMoment] == 0
}

// title is what a person would call column c.
func (l *layout) title(c int) string {
	if l.names[c] != "" {
		return fmt.Sprintf("%q", l.names[c])
	}
	return fmt.Sprintf("column %d", c+1)
}

// assume keeps a sentence about what the file does not say.
func (l *layout) assume(format string, a ...any) {
	if s := fmt.Sprintf(format, a...); !slices.Contains(l.set.Assumed, s) {
		l.set.Assumed = append(l.set.Assumed, s)
	}
}

// quick decides whether rows can be read without splitting lines.
func (l *layout) quick() {
	l.p.quick, l.p.plain = true, true
	for _, f := range l.p.fields {
		if f.use != asValue || f.affine {
			l.p.plain = false
		}
		if f.use == asDate || f.use == asUnit || f.unit >= 0 || l.delimiter == ' ' && f.use != asValue {
			l.p.quick = false
		}
	}
}

// setOrigin makes the time of the first row the zero of a clock.
func (l *layout) setOrigin() {
	if !l.clock {
		return
	}
	c := l.times[0]
	parts := l.row(l.first)
	ns, dated, _ := parseMoment(parts[c])
	text := string(parts[c])
	_, fraction, _ := strings.Cut(strings.NewReplacer(",", ".", "Z", "").Replace(text), ".")
	if dated && strings.Count(text, ".") > 2 { // the date has points, too
		fraction = text[strings.LastIndexByte(text, '.')+1:]
	}
	l.clockDigit = power(-len(fraction))
	if c > 0 && l.p.fields[c-1].use == asDate {
		date, _, _ := parseMoment(parts[c-1])
		ns, dated, text = ns+date, true, string(parts[c-1])+" "+text
	}
	l.p.origin, l.undated, l.set.Origin = ns, !dated, text
}

// classify reads a field of the sample.
func (l *layout) classify(part []byte) token {
	return classify(part, l.mark, l.opt.Decimal != "", 0)
}
