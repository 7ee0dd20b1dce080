package capture

import (
	"bytes"
	"math"
	"strings"

	"hvproof/internal/quantity"
)

// kind says what a field of a line is.
type kind int

const (
	isEmpty   kind = iota
	isNumber       // a number
	isClipped      // a marker for "out of range", or a bound
	isMissing      // a marker for "no value"
	isMoment       // a date, a time of day, or both
	isUnsure       // "1,234": a number in two ways
	isText         // anything else
)

// token is one field, read.
type token struct {
	kind kind
	// x is the number, times 10^shift; of a bound the limit, NaN if none.
	x    float64
	side quantity.Side
	// exp is the power of ten of the last digit, with shift.
	exp int
	// grouped says that a comma or point in the text could as well group
	// thousands ("361,900"); proven that it cannot ("361,9").
	grouped, proven bool
}

// beyond is where numbers end and markers begin: no voltage, current or time
// of a car comes near, and instruments write 9.9E37 for "out of range".
const beyond = 1e30

// notANumber is what instruments write for "no number" where 9.9E37 is
// "beyond the range": the Standard Commands for Programmable Instruments
// (SCPI 1999, volume 1, 7.2.1.4 and 7.2.1.5: 9.9E37, −9.9E37, 9.91E37).
const notANumber = 9.91e37

// marks are words for what is no number, in lower case without sign.
var marks = map[string]kind{
	"ol": isClipped, "0l": isClipped, "o.l": isClipped, "o.l.": isClipped, "ovld": isClipped, "ovl": isClipped,
	"over": isClipped, "overload": isClipped, "overflow": isClipped, "overrange": isClipped, "ovr": isClipped,
	"ovrng": isClipped, "of": isClipped, "clip": isClipped, "clipped": isClipped,
	"inf": isClipped, "infinity": isClipped, "∞": isClipped, "1.#inf": isClipped, "1.#inf00": isClipped,
	"under": isClipped, "underrange": isClipped, "underflow": isClipped, "ul": isClipped,
	"nan": isMissing, "1.#qnan": isMissing, "1.#ind": isMissing, "1.#nan": isMissing, "na": isMissing,
	"n/a": isMissing, "#n/a": isMissing, "err": isMissing, "error": isMissing, "invalid": isMissing,
	"null": isMissing, "none": isMissing, "nil": isMissing, "?": isMissing, "*": isMissing, ".": isMissing,
}

// classify reads one field that is trimmed and without quotes. mark is the
// decimal mark; sure says that a person gave it.
func classify(field []byte, mark byte, sure bool, shift int) token {
	if len(field) == 0 {
		return token{kind: isEmpty}
	}
	if t, ok := plainNumber(field, mark, shift); ok {
		return t
	}
	if t, ok := marker(field, mark, sure, shift); ok {
		return t
	}
	if t, ok := groupedNumber(field, mark, sure, shift); ok {
		return t
	}
	if _, _, ok := parseMoment(field); ok {
		return token{kind: isMoment}
	}
	return token{kind: isText}
}

// plainNumber reads digits with mark as the decimal mark.
func plainNumber(field []byte, mark byte, shift int) (token, bool) {
	if len(field) > 400 {
		return token{}, false
	}
	var room [128]byte
	b := append(room[:0], field...)
	b = append(b, "\n\n\n\n\n\n\n\n\n"...)
	n, next, ok := scan(b, 0, mark)
	if !ok || next != len(field) {
		return token{}, false
	}
	x, exact := n.float(shift)
	if !exact {
		if x, ok = parseFloat(field, shift); !ok {
			return token{kind: isClipped, x: math.NaN(), side: signSide(field)}, !n.long && n.exp > 0
		}
	}
	t := token{kind: isNumber, x: x, exp: n.exp + shift}
	if k := bytes.IndexByte(field, mark); k >= 0 {
		if k == len(field)-1 && mark == ',' {
			return token{}, false // "5," is a number and a delimiter
		}
		t.grouped = groupsOf(field, mark)
		t.proven = !t.grouped
	}
	if math.Abs(x) >= beyond {
		return tooGreat(field, x, shift), true
	}
	return t, true
}

// tooGreat is the token of a number that is none.
func tooGreat(field []byte, x float64, shift int) token {
	if raw, ok := parseFloat(field, 0); ok && math.Abs(raw) == notANumber {
		return token{kind: isMissing, x: math.NaN()}
	}
	return token{kind: isClipped, x: math.NaN(), side: signSide(field)}
}

func signSide(field []byte) quantity.Side {
	if field[0] == '-' {
		return quantity.Below
	}
	return quantity.Above
}

// groupsOf reports whether field looks like digits grouped by mark: one to
// three digits not beginning with 0, then groups of exactly three.
func groupsOf(field []byte, mark byte) bool {
	digits := bytes.TrimLeft(field, "+-")
	for i, part := range bytes.Split(digits, []byte{mark}) {
		if len(bytes.Trim(part, "0123456789")) != 0 {
			return false
		}
		if i == 0 && (len(part) == 0 || len(part) > 3 || part[0] == '0') || i > 0 && len(part) != 3 {
			return false
		}
	}
	return bytes.IndexByte(digits, mark) >= 0
}

// marker reads words like OL and bounds like ">4000".
func marker(field []byte, mark byte, sure bool, shift int) (token, bool) {
	if field[0] == '>' || field[0] == '<' {
		t := classify(bytes.TrimLeft(field[1:], "= "), mark, sure, shift)
		switch {
		case t.kind == isUnsure:
			return t, true
		case t.kind != isNumber:
			return token{}, false
		}
		t.kind, t.side = isClipped, quantity.Above
		if field[0] == '<' {
			t.side = quantity.Below
		}
		return t, true
	}
	if len(field) > 1 && len(bytes.Trim(field, "-")) == 0 {
		return token{kind: isMissing, x: math.NaN()}, true
	}
	if len(field) > 16 {
		return token{}, false
	}
	word := strings.ToLower(string(field))
	bare := strings.TrimLeft(word, "+-")
	k, known := marks[bare]
	if !known {
		return token{}, false
	}
	t := token{kind: k, x: math.NaN()}
	switch {
	case k == isMissing:
	case word[0] == '-' || strings.HasPrefix(bare, "u"):
		t.side = quantity.Below
	case word[0] == '+' || strings.HasPrefix(bare, "ov") || strings.HasPrefix(bare, "inf") ||
		strings.HasPrefix(bare, "1.#inf") || bare == "∞":
		t.side = quantity.Above
	}
	return t, true
}

// groupedNumber reads "1,234.5", "1.234,5", "1'234.5" and thin spaces. What
// is grouped only, by the other decimal mark ("1,234"), is unsure.
func groupedNumber(field []byte, mark byte, sure bool, shift int) (token, bool) {
	if c := field[len(field)-1]; len(field) > 60 || c < '0' || c > '9' {
		return token{}, false
	}
	other := byte(',')
	if mark == ',' {
		other = '.'
	}
	whole, fraction, hasMark := bytes.Cut(field, []byte{mark})
	var group string
	for _, g := range []string{string(other), "'", "’", "\u00a0", "\u202f", "\u2009", "\xa0", "\x92"} {
		if bytes.Contains(whole, []byte(g)) {
			group = g
			break
		}
	}
	if group == "" || !groupsOf(bytes.ReplaceAll(whole, []byte(group), []byte{'_'}), '_') {
		return token{}, false
	}
	if group == string(other) && !hasMark && !sure && bytes.Count(whole, []byte{other}) == 1 {
		return token{kind: isUnsure}, true
	}
	plain := bytes.ReplaceAll(whole, []byte(group), nil)
	if hasMark {
		plain = append(append(plain, mark), fraction...)
	}
	t, ok := plainNumber(plain, mark, shift)
	t.grouped, t.proven = false, hasMark
	return t, ok
}
