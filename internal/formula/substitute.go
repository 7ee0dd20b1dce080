package formula

import (
	"sort"
	"strconv"
	"strings"

	"hvproof/internal/quantity"
)

// digits is how many significant digits explanations show.
const digits = 4

// shownValues is how many values of a pattern an explanation lists.
const shownValues = 12

// substituted is the formula as written with the car's values in place of
// their names: an exact value as "(403.2 V)", a range with both ends as
// "(64.6 Ω … 71.4 Ω)", a value the car does not give as "missing".
func (f *Formula) substituted() string {
	mentions := append([]mention(nil), f.mentions...)
	sort.Slice(mentions, func(i, j int) bool { return mentions[i].from < mentions[j].from })
	var b strings.Builder
	pos := 0
	for _, m := range mentions {
		b.WriteString(f.text[pos:m.from])
		b.WriteString(m.shown())
		pos = m.to
	}
	b.WriteString(f.text[pos:])
	return b.String()
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
