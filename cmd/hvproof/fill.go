package main

import (
	"errors"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/form"
)

// fill has a form answered, by a file or at the terminal. Nothing is recorded
// before the last field is answered.
func (a *app) fill(f *form.Form, file *answersFile) error {
	if file != nil {
		return fillFrom(f, file)
	}
	t := newTerminal(a, nil)
	for {
		x, more := f.Next()
		if !more {
			return nil
		}
		a.sayf("")
		a.sayf("%s", x.Ask)
		a.sayf("  type %s", x.Wanted())
		for now := x; now != nil && now.Key == x.Key; {
			text, err := t.line("> ")
			if err == errEnd {
				return diag.No("nothing was recorded", "the input ended before %s was answered", x.Key)
			}
			if err != nil {
				return err
			}
			var refused *form.Refused
			if err := f.Answer(text); errors.As(err, &refused) {
				a.sayf("not taken: %s", refused.Message)
				if refused.Hint != "" {
					a.sayf("           %s", refused.Hint)
				}
			} else if err != nil {
				return err
			}
			if now, more = f.Next(); !more {
				return nil
			}
		}
	}
}

// fillFrom answers a form from a file; a field that the file leaves out is
// answered with nothing, where it may be.
func fillFrom(f *form.Form, file *answersFile) error {
	for _, k := range file.keys {
		if slices.Contains(f.Keys(), k.Text) {
			continue
		}
		hint := "its fields: " + strings.Join(f.Keys(), ", ")
		if near, ok := diag.Nearest(k.Text, f.Keys()); ok {
			hint = "did you mean " + near + "?"
		}
		return diag.Bad(hint, "%s:%d:%d: there is no field %q", k.At.File, k.At.Line, k.At.Column, k.Text)
	}
	for {
		x, more := f.Next()
		if !more {
			return nil
		}
		given := file.answers[x.Key]
		if len(given) == 0 && !x.Optional {
			return diag.Bad("it wants "+x.Wanted(), "%s: no answer for %s", file.name, x.Key)
		}
		var texts []string
		for _, g := range given {
			texts = append(texts, g.Text)
		}
		var refused *form.Refused
		if err := f.Take(texts); errors.As(err, &refused) {
			at := file.name
			if len(given) > 0 {
				p := given[0].place
				at = p.String()
			}
			return diag.Bad(refused.Hint, "%s: %s: %s", at, refused.Key, refused.Message)
		} else if err != nil {
			return err
		}
	}
}
