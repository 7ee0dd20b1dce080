// Package form is a dialogue that ends in one entry: fields asked one after the
// other, each with a check. Like a run it has Next and Answer, so that a
// terminal and an answers file drive it alike; nothing is recorded before the
// last field is answered.
//
// Nothing can be ticked through: no field has a default, an empty answer is
// refused, and what may stay empty takes the word "none".
package form

import (
	"fmt"
	"slices"
	"strings"
)

// None is the word for nothing, where a field may have nothing.
const None = "none"

// Done is the word that ends a field that takes several answers.
const Done = "done"

// A Field is one question.
type Field struct {
	Key     string // in an answers file
	Ask     string // one sentence
	Example string
	Choices []string // words of which one must be answered

	Reading  bool // a number with its unit, and words after a comma where it needs any; a page types it on a pad
	Many     bool // several answers, until Done
	Optional bool // None is an answer

	// When reports whether the field is asked at all; nil: always.
	When func(*Form) bool
	// Check gives the answers that a text stands for, or why it stands for
	// none; nil takes every text.
	Check func(text string) ([]string, error)
}

// A Form is the fields and what was answered.
type Form struct {
	fields []Field
	at     int
	values map[string][]string
}

// New begins a form.
func New(fields ...Field) *Form { return &Form{fields: fields, values: map[string][]string{}} }

// Keys gives the keys of all fields.
func (f *Form) Keys() []string {
	var out []string
	for i := range f.fields {
		out = append(out, f.fields[i].Key)
	}
	return out
}

// Next gives the field that is asked now; false when all are answered.
func (f *Form) Next() (*Field, bool) {
	for f.at < len(f.fields) {
		if x := &f.fields[f.at]; x.When == nil || x.When(f) {
			return x, true
		}
		f.at++
	}
	return nil, false
}

// A Refused is an answer that cannot be taken; the same field stands.
type Refused struct{ Key, Message, Hint string }

// Error gives the key and what is wrong.
func (r *Refused) Error() string { return r.Key + ": " + r.Message }

// Answer takes the answer to the field that Next gives, or refuses it.
func (f *Form) Answer(text string) error {
	x, ok := f.Next()
	if !ok {
		return &Refused{"form", "nothing is asked any more", ""}
	}
	text = strings.TrimSpace(text)
	word := strings.ToLower(text)
	have := len(f.values[x.Key])
	switch {
	case text == "":
		return &Refused{x.Key, "nothing was said", x.hint()}
	case x.Many && word == Done && have == 0:
		return &Refused{x.Key, "nothing was said yet", x.hint()}
	case x.Many && word == Done, x.Optional && word == None && have == 0:
		f.at++
		return nil
	case word == None && !x.Optional && x.Check == nil && have == 0:
		return &Refused{x.Key, "it may not be left out", x.hint()}
	case len(x.Choices) > 0 && !slices.Contains(x.Choices, word):
		return &Refused{x.Key, fmt.Sprintf("%q is not an answer here", text), x.hint()}
	case len(x.Choices) > 0:
		text = word
	}
	got := []string{text}
	if x.Check != nil {
		var err error
		if got, err = x.Check(text); err != nil {
			return &Refused{x.Key, err.Error(), x.hint()}
		}
	}
	for _, g := range got {
		if !slices.Contains(f.values[x.Key], g) {
			f.values[x.Key] = append(f.values[x.Key], g)
		}
	}
	if !x.Many {
		f.at++
	}
	return nil
}

// Take answers a field that takes several with all of the texts, or one that
// takes one with the only text; no texts are None.
func (f *Form) Take(texts []string) error {
	x, ok := f.Next()
	if !ok {
		return &Refused{"form", "nothing is asked any more", ""}
	}
	if len(texts) == 0 {
		texts = []string{None}
	}
	if !x.Many && len(texts) > 1 {
		return &Refused{x.Key, "it has one answer only", x.hint()}
	}
	for _, text := range texts {
		if err := f.Answer(text); err != nil {
			return err
		}
	}
	if now, ok := f.Next(); x.Many && ok && now.Key == x.Key {
		return f.Answer(Done)
	}
	return nil
}

func (x *Field) hint() string {
	var parts []string
	if len(x.Choices) > 0 {
		parts = append(parts, strings.Join(x.Choices, ", "))
	} else if x.Example != "" {
		parts = append(parts, "for example: "+x.Example)
	}
	if x.Optional {
		parts = append(parts, "or "+None)
	}
	return strings.Join(parts, "; ")
}

// Wanted says what may be typed.
func (x *Field) Wanted() string {
	hint := x.hint()
	if x.Many {
		return strings.TrimPrefix(hint+"; "+Done+" after the last", "; ")
	}
	if hint == "" {
		return "a sentence"
	}
	return hint
}

// Get gives the only answer to a field, empty if there is none.
func (f *Form) Get(key string) string {
	if v := f.values[key]; len(v) > 0 {
		return v[0]
	}
	return ""
}

// All gives the answers to a field.
func (f *Form) All(key string) []string { return slices.Clone(f.values[key]) }
