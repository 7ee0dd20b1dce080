package text

import (
	"strings"
	"unicode/utf8"

	"hvproof/internal/diag"
)

// wrap breaks text into lines of at most width characters, at spaces where
// there are any, else inside a word. A number stays with its unit and its
// uncertainty. Characters by which a reader could be deceived are written out
// first.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for i, word := range pieces(diag.Printable(strings.TrimRight(text, " "))) {
		if i > 0 {
			if length(line)+1+length(word) <= width {
				line += " " + word
				continue
			}
			if strings.Trim(line, " ") != "" {
				lines = append(lines, strings.TrimRight(line, " "))
			}
			line = ""
		}
		for length(word) > width {
			head := cut(word, width)
			lines = append(lines, head)
			word = word[len(head):]
		}
		line = word
	}
	return append(lines, line)
}

// pieces gives what lines may be broken between.
func pieces(text string) []string {
	var out []string
	for _, word := range strings.Split(text, " ") {
		if n := len(out); n > 0 && clings(out[n-1], word) {
			out[n-1] += " " + word
			continue
		}
		out = append(out, word)
	}
	return out
}

// clings reports whether a word must not begin a line after another one: the
// unit after its number, and both sides of a ±.
func clings(before, word string) bool {
	if before == "" || length(before) > 24 {
		return false
	}
	last := before[len(before)-1]
	switch {
	case word == "±", strings.HasSuffix(before, " ±"):
		return true
	case last < '0' || last > '9':
		return false
	}
	unit := strings.TrimRight(word, ".,;:)\"")
	for _, u := range []string{"V", "A", "Ω", "F", "s", "J", "W", "K", "Hz", "C", "Ah", "H", "N·m", "Ω/V", "°C", "%", "mm²"} {
		if rest, ok := strings.CutSuffix(unit, u); ok && (rest == "" || len(rest) <= 2 && strings.Contains("pnµmkMGT", rest)) {
			return true
		}
	}
	return false
}

func length(s string) int { return utf8.RuneCountInString(s) }

// cut gives the first n characters of s.
func cut(s string, n int) string {
	for i := range s {
		if n == 0 {
			return s[:i]
		}
		n--
	}
	return s
}

// fit cuts a line to width, with a mark that something is missing.
func fit(s string, width int) string {
	s = diag.Printable(s)
	if length(s) <= width {
		return s
	}
	return strings.TrimRight(cut(s, width-1), " ") + "…"
}

// pad fills s with spaces up to width.
func pad(s string, width int) string {
	return s + strings.Repeat(" ", max(width-length(s), 0))
}

// ends puts left and right at the two ends of a line of that width; the left
// one gives way.
func ends(left, right string, width int) string {
	left = fit(left, max(width-length(right)-2, 1))
	return pad(left, width-length(right)) + right
}
