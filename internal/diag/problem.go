package diag

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Place is a position in a file. Line and Column count from 1, columns in
// characters (not bytes); 0 is unknown and is left out when printed.
type Place struct {
	File         string
	Line, Column int
}

// String gives "file:12:7", as far as the parts are known: "file:12", "file",
// "line 12" without a file, "" for the zero Place.
func (p Place) String() string {
	switch {
	case p.Line <= 0:
		return Printable(p.File)
	case p.File == "":
		return fmt.Sprintf("line %d", p.Line)
	case p.Column <= 0:
		return fmt.Sprintf("%s:%d", Printable(p.File), p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", Printable(p.File), p.Line, p.Column)
}

// Severity tells a fault from a warning.
type Severity int

const (
	// Fault is an error: the file cannot be used.
	Fault Severity = iota
	// Warning is told and stops nothing.
	Warning
	// Refusal is what arithmetic alone refuses: the file can be used, the car
	// it describes should not be built so.
	Refusal
)

// String gives "error", "warning" or "refusal", the words of the JSON output.
func (s Severity) String() string {
	switch s {
	case Warning:
		return "warning"
	case Refusal:
		return "refusal"
	}
	return "error"
}

// Problem is one thing wrong in a file.
type Problem struct {
	Place
	Severity Severity
	// Message says what is wrong, Hint what would be right ("" if unknown).
	Message, Hint string
	// Source is the line of the file that Place.Line names, without its line
	// break, for Excerpt; "" if there is none to show.
	Source string
	// Span is the number of characters the caret line marks, from
	// Place.Column; below 1 it marks one.
	Span int
}

// Error gives "file:12:7: message; hint".
func (p Problem) Error() string {
	text := p.Message
	if at := p.Place.String(); at != "" {
		text = at + ": " + text
	}
	if p.Hint != "" {
		text += "; " + p.Hint
	}
	return text
}

// Excerpt gives the source line and under it carets below the characters
// meant, as two lines without a line break at the end. Long lines are cut
// around the caret. It is "" without Source or Column.
func (p Problem) Excerpt() string {
	runes := []rune(p.Source)
	from := p.Column - 1
	if len(runes) == 0 || from < 0 || from > len(runes) {
		return ""
	}
	to := min(from+max(p.Span, 1), max(len(runes), from+1))
	const width = 100
	start, end := 0, len(runes)
	if end > width {
		start = max(0, min(from-width/3, end-width))
		end = min(end, start+width)
		to = min(to, max(end, from+1))
	}
	line, caret := printable(string(runes[start:min(from, end)])), ""
	caret = strings.Repeat(" ", utf8.RuneCountInString(line))
	marked := printable(string(runes[min(from, end):min(to, end)]))
	caret += strings.Repeat("^", max(1, utf8.RuneCountInString(marked)))
	line += marked + printable(string(runes[min(to, end):end]))
	if start > 0 {
		line, caret = "…"+line, " "+caret
	}
	if end < len(runes) {
		line += "…"
	}
	return line + "\n" + caret
}

// Printable gives s with every character that a terminal or a reader could
// be deceived by (control, format and bidirectional characters, bytes that
// are not UTF-8) written as \u{HEX}, and for bytes \x{HEX}.
func Printable(s string) string {
	for i := range len(s) {
		if s[i] < 0x20 || s[i] >= 0x7f {
			return printable(s)
		}
	}
	return s
}

func printable(s string) string {
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == '\t':
			b.WriteByte(' ')
		case r == utf8.RuneError && !strings.HasPrefix(s[i:], "\uFFFD"):
			fmt.Fprintf(&b, `\x{%02X}`, s[i])
		case r == ' ' || unicode.IsGraphic(r) && !unicode.In(r, unicode.Zl, unicode.Zp):
			b.WriteRune(r)
		default:
			fmt.Fprintf(&b, `\u{%04X}`, r)
		}
	}
	return b.String()
}
