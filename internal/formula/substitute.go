package formula

import (
	"strconv"
	"strings"

	"hvproof/internal/quantity"
)

// digits is how many significant digits explanations show.
const digits = 4

// shownValues is how many values of a pattern an explanation lists.
const shownValues = 12

// A choice is a place in the text where ? : stands, with the node of its
// condition.
type choice struct {
	from, to int
	test     int32
	yes, no  *tree
}

// written is the formula with only that side of each ? : which is taken: both
// where the ranges leave it open. With values, the car's stand in place of
// their names: an exact one as "(403.2 V)", a range with both ends as
// "(64.6 Ω … 71.4 Ω)", one that the car does not give as "missing".
func (f *Formula) written(r *run, values bool) string {
	return f.part(0, len(f.text), r, values)
}

// part writes a part of the text.
func (f *Formula) part(from, to int, r *run, values bool) string {
	var b strings.Builder
	for pos := from; pos < to; {
		text, next := f.text[pos:to], to
		at := to
		if c, ok := f.nextChoice(pos, to, r); ok && c.from < at {
			at, next = c.from, c.to
			side := c.no
			if r.truth[c.test] == yes {
				side = c.yes
			}
			text = f.part(side.from, side.to, r, values)
			// The brackets round the choice are gone with it.
			if compound := side.shape == shapeBinary || side.shape == shapeUnary; compound && f.text[c.from] == '(' && f.text[side.from] != '(' {
				text = "(" + text + ")"
			}
		}
		if m, ok := f.nextMention(pos, to); values && ok && m.from < at {
			at, next, text = m.from, m.to, m.shown()
		}
		if at == to {
			b.WriteString(f.text[pos:to])
			break
		}
		b.WriteString(f.text[pos:at])
		b.WriteString(text)
		pos = next
	}
	return b.String()
}

// nextChoice gives the first decided ? : from a place on, the outermost of those
// that begin there.
func (f *Formula) nextChoice(from, to int, r *run) (found choice, ok bool) {
	for _, c := range f.choices {
		if c.from < from || c.to > to || !r.done[c.test] || r.truth[c.test] == undecided {
			continue
		}
		if !ok || c.from < found.from || c.from == found.from && c.to > found.to {
			found, ok = c, true
		}
	}
	return found, ok
}

// nextMention gives the first mention of values from a place on.
func (f *Formula) nextMention(from, to int) (found mention, ok bool) {
	for _, m := range f.mentions {
		if m.from >= from && m.to <= to && (!ok || m.from < found.from) {
			found, ok = m, true
		}
	}
	return found, ok
}

func (m mention) shown() string {
	switch {
	case m.text != "":
		return m.text
	case !m.pattern:
		return m.values[0].shown(true)
	}
	var shown []string
	for i, v := range m.values {
		if i == shownValues && len(m.values) > shownValues+1 {
			shown = append(shown, "… "+strconv.Itoa(len(m.values)-i)+" more")
			break
		}
		shown = append(shown, v.shown(false))
	}
	return strings.Join(shown, ", ")
}

// shown is one value in an explanation.
func (v Var) shown(brackets bool) string {
	text := "missing"
	switch {
	case v.Absent != "":
	case v.Derived != nil:
		text = v.Derived.shown()
		brackets = brackets && !v.IsBool
	case v.IsBool:
		return truthText(truthOf(v.Bool))
	default:
		text = span(v.Range.Lo, v.Range.Hi, v.Dim)
	}
	if brackets {
		return "(" + text + ")"
	}
	return text
}

// value is what the formula comes to, for explanations.
func (f *Formula) value() string {
	r := newRun(f.program)
	if err := r.full(f.root); err != nil {
		return "missing"
	}
	if f.truth {
		return truthText(r.truth[f.root])
	}
	e := r.extent(f.root)
	return span(e.lo, e.hi, f.dim)
}

func truthText(t truth) string {
	switch t {
	case yes:
		return "true"
	case no:
		return "false"
	}
	return "undecided"
}

// span prints a range of SI values, rounded to the nearest: these are numbers
// to follow a sum by, not limits.
func span(lo, hi float64, dim quantity.Dim) string {
	text := quantity.Format(quantity.Value{SI: lo, Dim: dim}, digits, quantity.RoundNearest)
	if lo != hi {
		text += " … " + quantity.Format(quantity.Value{SI: hi, Dim: dim}, digits, quantity.RoundNearest)
	}
	return text
}
