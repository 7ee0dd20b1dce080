package text

import (
	"strings"
	"unicode/utf8"

	"hvproof/internal/diag"
)

// wrap breaks text into lines of at most width characters, at spaces where
// there are any, else inside a word. Characters by which a reader could be
// deceived are written out first.
func wrap(text string, width int) []string {
	var lines []string
	line := ""
	for i, word := range strings.Split(diag.Printable(strings.TrimRight(text, " ")), " ") {
		if i > 0 {
			if length(line)+1+length(word) <= width {
				line += " " + word
				continue
			}
			if strings.TrimSpace(line) != "" {
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
