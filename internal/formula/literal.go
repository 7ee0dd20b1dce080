package formula

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"hvproof/internal/quantity"
)

// scanLiteral reads a number and the unit that follows it, if any. The longest
// text that could be a unit is tried; "100 V/x.y" ends at V because a dotted
// name follows.
func scanLiteral(src string, pos int) (token, *fault) {
	to := numberEnd(src, pos)
	if strings.HasPrefix(src[to:], "..") {
		return token{}, &fault{to, to + 2, `unexpected ".."`, "a range belongs to the value in the car's file, not into a formula"}
	}
	unit := to
	for unit < len(src) && src[unit] == ' ' {
		unit++
	}
	if last := unitEnd(src, unit); last > unit {
		return parseLiteral(src, pos, to, unit, last)
	}
	return parseLiteral(src, pos, to, to, to)
}

// parseLiteral gives the token for the number src[pos:to] with the unit
// src[unit:last], which may be empty.
func parseLiteral(src string, pos, to, unit, last int) (token, *fault) {
	number, word := src[pos:to], src[unit:last]
	v, err := quantity.Parse(strings.TrimSpace(number + " " + word))
	if err == nil {
		return token{kind: tokenLiteral, text: src[pos:last], from: pos, to: last, value: v, celsius: isScale(word)}, nil
	}
	f := &fault{pos, last, err.Error(), ""}
	var syntax *quantity.SyntaxError
	if errors.As(err, &syntax) {
		f.message, f.hint = syntax.Message, syntax.Hint
	}
	if _, err := quantity.Parse(number); err != nil || word == "" {
		return token{}, f
	}
	f.from, f.message = unit, fmt.Sprintf("unknown unit %q", word)
	if head, tail, ok := strings.Cut(word, "/"); ok && f.hint == "" {
		if _, err := quantity.Parse(number + " " + head); err == nil {
			f.hint = fmt.Sprintf("to divide by a value called %q, put spaces around the /", tail)
		}
	}
	return token{}, f
}

// isScale says whether a unit is a scale with a zero of its own, as °C is.
func isScale(unit string) bool {
	zero, err := quantity.Parse("0 " + unit)
	return unit != "" && err == nil && zero.SI != 0
}

// numberEnd returns where the number that begins at pos ends.
func numberEnd(src string, pos int) int {
	digits := func() {
		for pos < len(src) && isDigit(rune(src[pos])) {
			pos++
		}
	}
	digits()
	if pos < len(src) && src[pos] == '.' && !strings.HasPrefix(src[pos:], "..") {
		pos++
		digits()
	}
	if pos < len(src) && (src[pos] == 'e' || src[pos] == 'E') {
		after := pos + 1
		if after < len(src) && (src[after] == '+' || src[after] == '-') {
			after++
		}
		if after < len(src) && isDigit(rune(src[after])) {
			pos = after
			digits()
		}
	}
	return pos
}

// unitEnd returns where the unit that begins at pos ends, or pos if no unit
// begins there.
func unitEnd(src string, pos int) int {
	if strings.HasPrefix(src[pos:], "%") {
		return pos + 1
	}
	last := unitWord(src, pos)
	if last == pos {
		return pos
	}
	for last < len(src) {
		_, size := utf8.DecodeRuneInString(src[last:])
		if !strings.HasPrefix(src[last:], "/") && !strings.HasPrefix(src[last:], "·") && !strings.HasPrefix(src[last:], "⋅") {
			break
		}
		to := unitWord(src, last+size)
		if to == last+size {
			break
		}
		last = to
	}
	return last
}

// unitWord returns where one word of a unit ends, or pos if what stands there
// is the beginning of a dotted name, of a call, or no word at all.
func unitWord(src string, pos int) int {
	to := pos
	for to < len(src) {
		c, size := utf8.DecodeRuneInString(src[to:])
		if !unicode.IsLetter(c) && !strings.ContainsRune("°℃²³", c) {
			break
		}
		to += size
	}
	if to < len(src) && strings.ContainsRune("._(", rune(src[to])) || to < len(src) && isDigit(rune(src[to])) {
		return pos
	}
	return to
}
