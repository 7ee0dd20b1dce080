package bay

import (
	"strings"
)

// spoken gives a reading in words, to be read back aloud: "forty-five point
// four megohm", "above two gigohm", "over range". digits is the number as
// typed, in canonical form with sign or < or >, unit as on its key. Digits
// after the point are spoken one by one, as people do, and every typed one is
// spoken: 1.50 is not 1.5.
func (w *Wording) spoken(digits, unit string) string {
	var words []string
	for _, sign := range []struct{ text, name string }{{">", "above"}, {"<", "below"}, {"-", "minus"}} {
		if rest, ok := strings.CutPrefix(digits, sign.text); ok {
			words, digits = append(words, w.say("say "+sign.name)), rest
		}
	}
	whole, fraction, point := strings.Cut(digits, ".")
	if whole == "" {
		whole = "0"
	}
	words = append(words, w.whole(whole)...)
	if point {
		words = append(words, w.say("say point"))
		words = append(words, w.each(fraction)...)
	}
	if unit != plainUnit {
		words = append(words, w.maybe("say unit "+unit, unit))
	}
	return strings.Join(words, " ")
}

// whole speaks a whole number. Longer ones than nine digits, those with zeros
// in front, and all of them in a language whose numbers are put together
// otherwise, are spoken digit by digit.
func (w *Wording) whole(digits string) []string {
	if w.texts["numbers"] != "words" || len(digits) > 9 || len(digits) > 1 && digits[0] == '0' {
		return w.each(digits)
	}
	n := 0
	for _, d := range digits {
		n = 10*n + int(d-'0')
	}
	if n == 0 {
		return w.each("0")
	}
	var words []string
	for _, group := range []struct {
		size int
		name string
	}{{1_000_000, "million"}, {1000, "thousand"}} {
		if k := n / group.size; k > 0 {
			words = append(append(words, w.hundreds(k)...), w.say("say "+group.name))
			n %= group.size
			if n > 0 && n < 100 {
				words = append(words, w.say("say and"))
			}
		}
	}
	return append(words, w.hundreds(n)...)
}

// hundreds speaks 1 to 999, and nothing for 0.
func (w *Wording) hundreds(n int) []string {
	var words []string
	if n >= 100 {
		words = append(words, w.small(n/100), w.say("say hundred"))
		if n %= 100; n > 0 {
			words = append(words, w.say("say and"))
		}
	}
	switch {
	case n >= 20 && n%10 > 0:
		words = append(words, w.small(n/10*10)+"-"+w.small(n%10))
	case n > 0:
		words = append(words, w.small(n))
	}
	return words
}

func (w *Wording) each(digits string) []string {
	var words []string
	for _, d := range digits {
		words = append(words, w.small(int(d-'0')))
	}
	return words
}

// small speaks 0 to 20, and the tens to 90.
func (w *Wording) small(n int) string {
	list := strings.Fields(w.say("say digits"))
	if n >= 20 {
		list, n = strings.Fields(w.say("say tens")), n/10-2
	}
	if n >= len(list) {
		return "?"
	}
	return list[n]
}
