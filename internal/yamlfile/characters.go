package yamlfile

import (
	"bytes"
	"strings"
	"unicode"
	"unicode/utf8"

	"hvproof/internal/diag"
)

// decodeText takes the byte order mark away and refuses what is not UTF-8.
func (f *File) decodeText(b []byte) (string, bool) {
	whole := diag.Place{File: f.Name}
	const hint = "save it as UTF-8 text"
	switch {
	case len(bytes.TrimSpace(b)) == 0:
		f.problems.Errorf(whole, "", "is empty")
		return "", false
	case bytes.HasPrefix(b, []byte{0xFF, 0xFE, 0, 0}), bytes.HasPrefix(b, []byte{0, 0, 0xFE, 0xFF}):
		f.problems.Errorf(whole, hint, "is UTF-32 text")
		return "", false
	case bytes.HasPrefix(b, []byte{0xFF, 0xFE}), bytes.HasPrefix(b, []byte{0xFE, 0xFF}), looksUTF16(b):
		f.problems.Errorf(whole, hint, "is UTF-16 text")
		return "", false
	}
	b = bytes.TrimPrefix(b, []byte("\uFEFF"))
	if len(bytes.TrimSpace(b)) == 0 {
		f.problems.Errorf(whole, "", "is empty")
		return "", false
	}
	return string(b), true
}

// looksUTF16 finds UTF-16 without byte order mark: every other of the first
// bytes is zero.
func looksUTF16(b []byte) bool {
	n := min(len(b), 64) &^ 1
	zero := [2]int{}
	for i, c := range b[:n] {
		if c == 0 {
			zero[i%2]++
		}
	}
	return n >= 4 && (zero[0] == 0 && zero[1] >= n/2-1 || zero[1] == 0 && zero[0] >= n/2-1)
}

// checkCharacters reports bytes that are not text, invisible characters and
// tabs in the indentation, each line's first of them.
func (f *File) checkCharacters(text string) {
	for i, line := range f.lines {
		if len(f.problems) > maxProblems {
			break
		}
		f.checkLine(i+1, line)
	}
	if !strings.HasSuffix(text, "\n") {
		last := len(f.lines)
		f.problems.Warnf(diag.Place{File: f.Name, Line: last}, "was the file cut off?", "the last line has no line break at its end")
	}
}

func (f *File) checkLine(number int, line string) {
	indented, column := true, 0
	for i, r := range line {
		column++
		at := diag.Place{Line: number, Column: column}
		switch {
		case r == '\t':
			if indented {
				f.problems.Add(f.Problem(at, 1, "indent with spaces", "the indentation holds a tab"))
				return
			}
			continue
		case r == 0:
			f.problems.Add(f.Problem(at, 1, "is it a text file?", "holds a NUL byte"))
			return
		case r == utf8.RuneError && !strings.HasPrefix(line[i:], "\uFFFD"):
			f.problems.Add(f.Problem(at, 1, "save it as UTF-8 text", "holds a byte (hexadecimal %02X) that is not UTF-8 text", line[i]))
			return
		case r == '\r':
			f.problems.Add(f.Problem(at, 1, "end lines with a line feed", "holds a carriage return within a line"))
			return
		case invisible(r):
			f.problems.Add(f.Problem(at, 1, "delete it", "holds the invisible character U+%04X", r))
			return
		}
		if r != ' ' {
			indented = false
		}
	}
}

// invisible reports a character that a reader does not see, or that changes
// what the reader sees of others.
func invisible(r rune) bool {
	return unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp)
}
