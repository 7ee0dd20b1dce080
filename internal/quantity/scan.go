package quantity

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Limits of what is read. They keep exact arithmetic small; nothing on a car
// comes near them.
const (
	maxText     = 200 // bytes
	maxNumber   = 40  // digits
	maxExponent = 99
)

// scanner reads a quantity's text from left to right.
type scanner struct {
	text string
	pos  int
}

// newScanner refuses what cannot be a quantity at all and skips leading
// spaces.
func newScanner(text string) (*scanner, *SyntaxError) {
	s := &scanner{text: text}
	if len(text) > maxText {
		return nil, s.fault(0, "is too long to be a quantity", "")
	}
	for i, r := range text {
		switch {
		case r == utf8.RuneError && !strings.HasPrefix(text[i:], "\uFFFD"):
			return nil, s.fault(i, "is not a quantity: it is not UTF-8 text", "save the file as UTF-8")
		case unicode.IsControl(r) || unicode.In(r, unicode.Cf, unicode.Zl, unicode.Zp, unicode.Co, unicode.Mn):
			return nil, s.fault(i, fmt.Sprintf("is not a quantity: it holds the invisible character U+%04X", r), "type it anew")
		case r > unicode.MaxASCII && unicode.IsDigit(r):
			return nil, s.fault(i, fmt.Sprintf("is not a quantity: %q is no digit from 0 to 9", r), "")
		}
	}
	s.space()
	if s.end() {
		return nil, &SyntaxError{Text: text, Message: "there is no quantity", Hint: "write a number and its unit, as in 4.7 kΩ"}
	}
	return s, nil
}

// fault makes an error about the whole text.
func (s *scanner) fault(at int, message, hint string) *SyntaxError {
	return &SyntaxError{Text: s.text, Message: quote(s.text) + " " + message, Hint: hint, Offset: at}
}

// quote shows a text in an error, cut where long.
func quote(text string) string {
	if utf8.RuneCountInString(text) > 60 {
		text = string([]rune(text)[:60]) + "…"
	}
	return strconv.Quote(text)
}

func (s *scanner) rest() string { return s.text[s.pos:] }

// end skips spaces and reports whether nothing is left.
func (s *scanner) end() bool {
	s.space()
	return s.pos == len(s.text)
}

// space skips plain, no-break and thin spaces.
func (s *scanner) space() {
	for i, r := range s.rest() {
		if r != ' ' && r != '\u00A0' && r != '\u2009' && r != '\u202F' {
			s.pos += i
			return
		}
	}
	s.pos = len(s.text)
}

// accept takes the first of the words that comes next.
func (s *scanner) accept(words ...string) string {
	for _, w := range words {
		if strings.HasPrefix(s.rest(), w) {
			s.pos += len(w)
			return w
		}
	}
	return ""
}

// number is digits × 10^exp.
type number struct {
	neg    bool
	digits string
	exp    int
	text   string // as typed
}

// number reads a signed decimal number.
func (s *scanner) number() (number, *SyntaxError) {
	n, start := number{}, s.pos
	switch s.accept("-", "−", "+") {
	case "-", "−":
		n.neg = true
	}
	whole := s.digits()
	fraction := ""
	if r := s.rest(); len(r) > 1 && r[0] == '.' && isDigit(r[1]) {
		s.pos++
		fraction = s.digits()
	}
	n.digits, n.exp = whole+fraction, -len(fraction)
	if n.digits == "" {
		return n, s.notNumber(start)
	}
	if r := s.rest(); r != "" && (r[0] == 'e' || r[0] == 'E') {
		digits := strings.TrimLeft(r[1:], "+-")
		if len(r[1:])-len(digits) <= 1 && digits != "" && isDigit(digits[0]) {
			s.pos += len(r) - len(digits)
			exponent, err := strconv.Atoi(s.digits())
			if err != nil || exponent > maxExponent {
				return n, s.fault(start, "is beyond any quantity of a car", "")
			}
			if r[1] == '-' {
				exponent = -exponent
			}
			n.exp += exponent
		}
	}
	n.text = s.text[start:s.pos]
	if len(n.digits) > maxNumber {
		return n, s.fault(start, fmt.Sprintf("has more than %d digits", maxNumber), "")
	}
	return n, s.afterNumber(start, n)
}

// afterNumber finds what people put into numbers and must not.
func (s *scanner) afterNumber(start int, n number) *SyntaxError {
	rest := s.rest()
	tail := strings.TrimLeft(rest, " \u00A0\u2009\u202F'_,")
	gap := rest[:len(rest)-len(tail)]
	switch {
	case n.digits == "0" && strings.HasPrefix(strings.TrimPrefix(rest, "."), "L"):
		return s.fault(start, "is not a quantity", "did you mean OL (over range)?")
	case strings.HasPrefix(rest, ","):
		return s.decimalComma(start, n)
	case gap != "" && tail != "" && isDigit(tail[0]):
		return s.fault(s.pos, "has a number with gaps", "write the digits without gaps, or use a prefix as in 12 kΩ")
	case n.digits == "0" && (strings.HasPrefix(rest, "x") || strings.HasPrefix(rest, "X")):
		return s.fault(start, "is a hexadecimal number", "write it in decimal")
	case strings.HasPrefix(rest, ".") && !strings.HasPrefix(rest, "..") && strings.Contains(n.text, "."):
		return s.fault(s.pos, "has a number with two points", "")
	case strings.HasPrefix(rest, ".") && !strings.HasPrefix(rest, ".."):
		return s.fault(s.pos, "has a point without a digit after it", "leave the point away: "+n.text)
	}
	return nil
}

// decimalComma explains "1,02 mF" and "1,000 V".
func (s *scanner) decimalComma(start int, n number) *SyntaxError {
	at := s.pos
	s.pos++
	digits := s.digits()
	after := s.rest()
	hint := fmt.Sprintf("write it with a point: %s.%s%s", n.text, digits, after)
	if len(digits) == 3 && !strings.Contains(n.text, ".") {
		hint = fmt.Sprintf("write %s%s%s or %s.%s%s, whichever is meant", n.text, digits, after, n.text, digits, after)
	}
	if digits == "" {
		hint = "write it with a point"
	}
	return s.fault(at, "has a decimal comma", hint)
}

// notNumber explains a text that does not begin with a number.
func (s *scanner) notNumber(start int) *SyntaxError {
	rest := s.text[start:]
	word := strings.ToLower(strings.TrimLeft(rest, "+-−"))
	switch {
	case strings.HasPrefix(word, "nan"):
		return s.fault(start, "is not a number", "")
	case strings.HasPrefix(word, "inf"), strings.HasPrefix(word, "∞"):
		return s.fault(start, "is infinite, which no quantity is", "a meter's over range is written OL")
	case strings.HasPrefix(word, "ol"), strings.HasPrefix(word, "o.l"):
		return s.fault(start, "is an over-range reading, not a value", "")
	case word != "" && strings.ContainsAny(word[:1], "<>"), strings.HasPrefix(word, "≤"), strings.HasPrefix(word, "≥"):
		return s.fault(start, "is a bound, not a value", "write the value itself, or both ends as in 47..53 Ω")
	case strings.HasPrefix(word, "±"):
		return s.fault(start, "has a tolerance but no value", "write the value first, as in 1.02 mF ±10%")
	}
	return s.fault(start, "is not a quantity: it does not begin with a number", "write a number and its unit, as in 4.7 kΩ")
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func (s *scanner) digits() string {
	start := s.pos
	for s.pos < len(s.text) && isDigit(s.text[s.pos]) {
		s.pos++
	}
	return s.text[start:s.pos]
}

// unitWord reads the longest text that can be a unit, "" if none is there.
func (s *scanner) unitWord() string {
	start := s.pos
	if s.accept("%") != "" {
		return "%"
	}
	for s.pos < len(s.text) {
		r, n := utf8.DecodeRuneInString(s.rest())
		next, _ := utf8.DecodeRuneInString(s.text[s.pos+n:])
		inside := s.pos > start
		switch {
		case isUnitRune(r), inside && r != '^' && isPower(r):
		case inside && strings.ContainsRune("·⋅∙•*./-", r) && isUnitRune(next):
		case inside && r == '^' && (next == '-' || next < utf8.RuneSelf && isDigit(byte(next))):
			s.pos += n
			s.accept("-")
			s.digits()
			continue
		default:
			return s.text[start:s.pos]
		}
		s.pos += n
	}
	return s.text[start:s.pos]
}

// rat gives the exact value of n in unit u, in base units.
func (n number) rat(u unit) *big.Rat {
	r := n.scaled(u)
	if u.celsius {
		r.Add(r, big.NewRat(27315, 100))
	}
	return r
}

// scaled is rat without the zero of the Celsius scale: for differences.
func (n number) scaled(u unit) *big.Rat {
	digits, _ := new(big.Int).SetString(n.digits, 10)
	r := new(big.Rat).SetInt(digits)
	if n.neg {
		r.Neg(r)
	}
	r.Mul(r, pow10(n.exp+u.shift))
	if u.ratio != nil {
		r.Mul(r, u.ratio)
	}
	return r
}

func pow10(n int) *big.Rat {
	p := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(max(n, -n))), nil)
	r := new(big.Rat).SetInt(p)
	if n < 0 {
		r.Inv(r)
	}
	return r
}

// float rounds an exact value to the nearest float64, refuses what is beyond
// 1e30 or, not being zero, below 1e-30, and gives no negative zero.
func (s *scanner) float(r *big.Rat) (float64, *SyntaxError) {
	f, _ := r.Float64()
	size := f
	if size < 0 {
		size = -size
	}
	switch {
	case r.Sign() == 0:
		return 0, nil
	case size > 1e30:
		return 0, s.fault(0, "is too large for any quantity of a car", "")
	case size < 1e-30:
		return 0, s.fault(0, "is too small for any quantity of a car", "")
	}
	return f, nil
}
