package capture

import (
	"encoding/binary"
	"math"
)

// A template is how a line was laid out, byte by byte: a digit, or this very
// byte. Lines of a recorder mostly look like one of the few before them, so
// they are compared with templates, eight bytes at a time, before they are
// read; where they fit, their numbers stand at known places and are read column
// by column, without looking for their ends. A line that fits none goes the
// general way, and is the next template.
type template struct {
	length int    // of the line, with its end
	words  []word // all of it
	rest   []word // what the slots do not compare
	slots  []slot
}

// word is what eight bytes of a line must be: where fixed is 0xff the byte of
// want, where digit is 0x80 a digit.
type word struct {
	at                 int
	want, fixed, digit uint64
}

// odd is not zero where eight bytes, with want taken off by exclusive or, are
// not what they must be.
func (w *word) odd(x uint64) uint64 {
	return x&w.fixed | ((x&0x7f7f7f7f7f7f7f7f+0x7676767676767676)|x)&w.digit
}

// slot is where a number stands: at most fifteen digits. A short one lies in
// one word with its mark; a long one has its digits before and after the mark
// in a word each.
type slot struct {
	word                  // of a short one; it ends where the number does, if it can
	short                 bool
	whole, part           int    // of a long one: offsets of the first digits
	wholeMask, partMask   uint64 // keep the digits of a word
	wholeShift, partShift uint   // bits that move digits to the top; of a short one over the mark, and all of them
	scale                 uint64 // 10^(digits after the mark)
	negative              bool
	to                    int
	exp                   int     // power of ten of the last digit, in SI units
	power                 float64 // 10^|exp|
}

// mostTemplates is how many layouts a block remembers: a sign and a digit
// that come and go make four.
const mostTemplates = 4

// zeros are eight characters 0.
const zeros = 0x3030303030303030

// apply reads lines from b[i:] while one of the block's templates fits, and
// gives the place of the first that fits none.
func (k *block) apply(i, size int) int {
	for n := 0; n < len(k.templates); n++ {
		t := &k.templates[n]
		next := t.lines(k, i, size)
		if next == i {
			continue
		}
		i = next
		if n > 0 { // the last used is tried first
			last := *t
			copy(k.templates[1:n+1], k.templates[:n])
			k.templates[0] = last
		}
		n = -1
	}
	return i
}

// stretch is how many lines are read at a time: few enough to stay where the
// processor has them.
const stretch = 64

// lines reads lines that fit, from b[i:] to size, and gives the place of the
// first that does not.
func (t *template) lines(k *block, i, size int) int {
	for most := 2; ; most = min(2*most, stretch) { // not many for nothing, where layouts alternate
		n := min(most, (size-i)/t.length)
		if n == 0 {
			return i
		}
		b, odd := k.data[i:], uint64(0)
		for w := range t.rest {
			odd |= t.rest[w].compare(b, t.length, n)
		}
		for s := range t.slots {
			odd |= t.slots[s].integers(k.numbers[s][:n], b, t.length)
		}
		if odd != 0 { // one of them does not fit
			if n = t.fits(b, n); n == 0 {
				return i
			}
		}
		for s := range t.slots {
			t.slots[s].keep(k, k.numbers[s][:n])
		}
		k.rows += n
		k.lines += n
		i += n * t.length
		if odd != 0 {
			return i
		}
	}
}

// fits counts the first of n lines that fit.
func (t *template) fits(b []byte, n int) int {
	for line := range n {
		for w := range t.words {
			if t.words[w].compare(b[line*t.length:], t.length, 1) != 0 {
				return line
			}
		}
	}
	return n
}

// compare is not zero if the word is odd in one of n lines.
func (w *word) compare(b []byte, length, n int) (odd uint64) {
	at, own := w.at, *w
	for range n {
		odd |= own.odd(binary.LittleEndian.Uint64(b[at:]) ^ own.want)
		at += length
	}
	return odd
}

// integers gives the digits of lines of one length as whole numbers. What it
// returns is not zero if a short number is not what it must be in one of them.
func (s *slot) integers(out []int64, b []byte, length int) (odd uint64) {
	if s.short {
		at, own, wholeMask, partMask := s.at, s.word, s.wholeMask, s.partMask
		over, up := s.wholeShift&63, s.partShift&63
		for r := range out {
			x := binary.LittleEndian.Uint64(b[at:]) ^ own.want
			odd |= own.odd(x)
			out[r] = int64(number((x&wholeMask<<over | x&partMask) << up))
			at += length
		}
		return odd
	}
	whole, part := s.whole, s.part
	for r := range out {
		w := ((binary.LittleEndian.Uint64(b[whole:]) ^ zeros) & s.wholeMask) << (s.wholeShift & 63)
		p := ((binary.LittleEndian.Uint64(b[part:]) ^ zeros) & s.partMask) << (s.partShift & 63)
		out[r] = int64(number(w)*s.scale + number(p))
		whole, part = whole+length, part+length
	}
	return 0
}

// keep adds the slot's numbers of some lines to its column.
func (s *slot) keep(k *block, numbers []int64) {
	k.digit[s.to] = min(k.digit[s.to], s.exp)
	if k.even[s.to].on {
		if s.extend(&k.even[s.to], numbers) {
			return
		}
		k.settle(s.to)
	}
	out := k.columns[s.to][k.rows : k.rows+len(numbers)]
	switch power := s.power; {
	case s.exp < 0:
		for r, m := range numbers {
			out[r] = float64(m) / power
		}
	default:
		for r, m := range numbers {
			out[r] = float64(m) * power
		}
	}
	if s.negative {
		for r, x := range out {
			out[r] = -x
		}
	}
}

// extend goes on with a run; a zero with a sign is none of it.
func (s *slot) extend(r *run, numbers []int64) bool {
	if !s.negative {
		return r.extend(numbers, s.exp)
	}
	for i, m := range numbers {
		if numbers[i] = -m; m == 0 {
			numbers[i] = runEnd + 1
		}
	}
	ok := r.extend(numbers, s.exp)
	for i, m := range numbers {
		if numbers[i] = -m; m == runEnd+1 {
			numbers[i] = 0
		}
	}
	return ok
}

// number gives what eight digits make, the first in the lowest byte. Zeros
// before the first are worth nothing.
func number(x uint64) uint64 {
	x = x*10 + x>>8
	return ((x&0x000000ff000000ff)*0x000f424000000064 +
		(x>>16&0x000000ff000000ff)*0x0000271000000001) >> 32
}

// learn makes a template of a line that was read, with its end, where its
// numbers are such as a template can hold.
func (p *parser) learn(k *block, line []byte) {
	if len(line) > 512 || len(p.fields) > mostSlots {
		return
	}
	// In the place of the template that was longest out of use.
	if len(k.templates) < mostTemplates {
		k.templates = append(k.templates, template{})
	}
	old := &k.templates[len(k.templates)-1]
	t := template{length: len(line), words: old.words[:0], rest: old.rest[:0], slots: old.slots[:0]}
	old.length = math.MaxInt32
	var layout lineLayout
	layout.line = line
	at := 0
	for c := range p.fields {
		s, next, ok := p.slot(&layout, at, &p.fields[c])
		if !ok {
			return
		}
		if at = next; c < len(p.fields)-1 {
			at++
		}
		t.slots = append(t.slots, s)
	}
	for i := range t.slots { // now that all digits are known
		if s := &t.slots[i]; s.short {
			s.word = layout.word(s.at)
		}
	}
	for at := 0; at < len(line); at += 8 {
		t.words = append(t.words, layout.word(at))
	}
	for at := 0; at < len(line); at++ {
		if !layout.compared[at] {
			t.rest = append(t.rest, layout.word(at))
			at += 7
		}
	}
	copy(k.templates[1:], k.templates)
	k.templates[0] = t
}

// mostSlots is how many columns a line read by templates may have.
const mostSlots = 32

// lineLayout is what is known of a line's bytes.
type lineLayout struct {
	line     []byte
	digit    [512]bool
	compared [512]bool // by a short slot
}

// word gives what the eight bytes from at must be.
func (l *lineLayout) word(at int) word {
	w := word{at: at}
	for n := range 8 {
		switch i := at + n; {
		case i >= len(l.line):
		case l.digit[i]:
			w.want |= '0' << (8 * n)
			w.digit |= 0x80 << (8 * n)
		default:
			w.want |= uint64(l.line[i]) << (8 * n)
			w.fixed |= 0xff << (8 * n)
		}
	}
	return w
}

// slot finds the number of a field from at on, and the place after it.
func (p *parser) slot(l *lineLayout, at int, f *field) (s slot, next int, ok bool) {
	line := l.line
	for line[at] == ' ' {
		at++
	}
	s = slot{to: f.to, exp: f.shift}
	if line[at] == '-' || line[at] == '+' {
		s.negative = line[at] == '-'
		at++
	}
	run := func() (first, n int) {
		for first = at; line[at]-'0' <= 9; at++ {
			l.digit[at] = true
		}
		return first, at - first
	}
	var whole, part int
	s.whole, whole = run()
	s.part = s.whole
	marked := line[at] == p.mark
	if marked {
		at++
		s.part, part = run()
		s.exp -= part
	}
	end := at
	if line[at]|0x20 == 'e' {
		e, after, good := exponent(line, at+1)
		if !good {
			return s, at, false
		}
		at, s.exp = after, s.exp+e
	}
	if whole > 8 || part > 8 || whole+part > 15 || whole+part == 0 || s.exp > 22 || s.exp < -22 || whole+part+s.exp > 29 {
		return s, at, false
	}
	s.scale, s.power = scales[part], tens[max(s.exp, -s.exp)]
	s.wholeMask, s.partMask = 1<<(8*whole)-1, 1<<(8*part)-1
	s.wholeShift, s.partShift = uint(8-whole)*8, uint(8-part)*8
	if end-s.whole <= 8 {
		s.shorten(l, max(0, end-8), end, marked)
	}
	return s, at, true
}

// shorten makes the slot one that is read from the word at the offset.
func (s *slot) shorten(l *lineLayout, at, end int, marked bool) {
	s.short = true
	s.wholeMask <<= 8 * (s.whole - at)
	s.partMask <<= 8 * (s.part - at)
	s.wholeShift, s.partShift = 0, uint(at+8-end)*8
	if marked {
		s.wholeShift = 8
	}
	if s.part == s.whole && !marked { // no digits after a mark
		s.partMask = 0
	}
	for i := at; i < min(at+8, len(l.line)); i++ {
		l.compared[i] = true
	}
	s.at = at
}
