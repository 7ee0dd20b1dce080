package formula

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// operators, longest first.
var operators = [...]string{"<=", ">=", "==", "!=", "&&", "||", "+", "-", "*", "/", "<", ">", "!", "?", ":", "(", ")", ","}

// mishaps are spellings from other notations, and what to write here.
var mishaps = [...]struct{ text, hint string }{
	{"**", "there is no power: write x * x"},
	{"^", "there is no power: write x * x"},
	{"=", "equal is written =="},
	{"&", "write && for and"},
	{"|", "write || for or"},
	{"≤", "write <="},
	{"≥", "write >="},
	{"≠", "write !="},
	{"×", "write *"},
	{"·", "write *"},
	{"÷", "write /"},
	{"−", "write the minus of the keyboard, -"},
	{"–", "write the minus of the keyboard, -"},
	{"±", "a tolerance belongs to the value in the car's file, not into a formula"},
	{"..", "a range belongs to the value in the car's file, not into a formula"},
	{";", "a formula is one expression"},
	{"%", "% follows a number: 95 %"},
	{"{", "write the name without braces"},
	{"$", "write the name without $"},
}

// scan cuts a formula into tokens; the last one is of kind tokenEnd.
func scan(src string) ([]token, *fault) {
	var tokens []token
	for pos := 0; ; {
		for pos < len(src) && (src[pos] == ' ' || src[pos] == '\t') {
			pos++
		}
		if pos == len(src) {
			return append(tokens, token{kind: tokenEnd, from: pos, to: pos}), nil
		}
		t, f := next(src, pos)
		if f == nil && t.text == "," {
			f = decimalComma(src, tokens, pos)
		}
		if f != nil {
			return nil, f
		}
		tokens = append(tokens, t)
		pos = t.to
	}
}

// next reads the token that begins at pos.
func next(src string, pos int) (token, *fault) {
	c, size := utf8.DecodeRuneInString(src[pos:])
	switch {
	case c == utf8.RuneError && size <= 1:
		return token{}, &fault{pos, pos + 1, "not valid UTF-8", "save the file as UTF-8"}
	case isDigit(c), c == '.' && pos+1 < len(src) && isDigit(rune(src[pos+1])):
		return scanLiteral(src, pos)
	case c == '_' || unicode.IsLetter(c):
		return scanName(src, pos)
	}
	for _, m := range mishaps {
		if m.text == "=" && strings.HasPrefix(src[pos:], "==") ||
			m.text == "&" && strings.HasPrefix(src[pos:], "&&") ||
			m.text == "|" && strings.HasPrefix(src[pos:], "||") {
			continue
		}
		if strings.HasPrefix(src[pos:], m.text) {
			return token{}, &fault{pos, pos + len(m.text), fmt.Sprintf("unexpected %q", m.text), m.hint}
		}
	}
	for _, op := range operators {
		if strings.HasPrefix(src[pos:], op) {
			return token{kind: tokenOperator, text: op, from: pos, to: pos + len(op)}, nil
		}
	}
	if c == '\n' || c == '\r' {
		return token{}, &fault{pos, pos + 1, "a formula stands on one line", ""}
	}
	return token{}, &fault{pos, pos + size, fmt.Sprintf("unexpected character %q", c), ""}
}

// scanName reads a dotted name; "*" may stand for a whole word after a dot.
func scanName(src string, pos int) (token, *fault) {
	to := wordEnd(src, pos)
	for to < len(src) && src[to] == '.' {
		after := to + 1
		if after < len(src) && src[after] == '*' {
			to = after + 1
			continue
		}
		last := wordEnd(src, after)
		if last == after {
			return token{}, &fault{pos, after, fmt.Sprintf("name %q ends in a point", src[pos:after]), "names look like packs.left.capacity"}
		}
		to = last
	}
	return token{kind: tokenName, text: src[pos:to], from: pos, to: to}, nil
}

// wordEnd returns where the letters, digits and underscores from pos on end.
func wordEnd(src string, pos int) int {
	for pos < len(src) {
		c, size := utf8.DecodeRuneInString(src[pos:])
		if c != '_' && !unicode.IsLetter(c) && !isDigit(c) {
			break
		}
		pos += size
	}
	return pos
}

// decimalComma refuses a comma squeezed between two digits: in min(1,5) nobody
// can tell whether two numbers or one and a half was meant.
func decimalComma(src string, before []token, pos int) *fault {
	if len(before) == 0 || pos+1 >= len(src) {
		return nil
	}
	last := before[len(before)-1]
	if last.kind == tokenLiteral && last.to == pos && isDigit(rune(src[pos-1])) && isDigit(rune(src[pos+1])) {
		return &fault{pos, pos + 1, "comma between two digits",
			"the decimal sign is a point; between two arguments put a space after the comma"}
	}
	return nil
}

func isDigit(c rune) bool { return '0' <= c && c <= '9' }
