package pdf

import "strings"

// wrap breaks text into lines of at most that width in the current font, at
// spaces where there are any, else inside a word.
func (p *printer) wrap(text string, width float64) []string {
	var lines []string
	line := ""
	for word := range strings.SplitSeq(p.plain(text), " ") {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if p.wide(joined) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for p.wide(word) > width {
			head := p.cut(word, width)
			lines = append(lines, head)
			word = word[len(head):]
		}
		line = word
	}
	return append(lines, line)
}

// cut gives as many characters of s as fit, one at least.
func (p *printer) cut(s string, width float64) string {
	end := 0
	for i, c := range s {
		next := i + len(string(c))
		if i > 0 && p.wide(s[:next]) > width {
			break
		}
		end = next
	}
	return s[:end]
}

// fit cuts a line to width, with a mark that something is missing.
func fit(p *printer, s string, width float64) string {
	s = p.plain(s)
	if p.wide(s) <= width {
		return s
	}
	return strings.TrimRight(p.cut(s, width-p.wide("…")), " ") + "…"
}
