package rework

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/form"
)

// The keys of the dialogue about work on the HV system.
const (
	KeyWork   = "work"
	KeyParts  = "parts"
	KeyText   = "text"
	KeyBy     = "by"
	KeyDone   = "done"
	KeyReason = "reason"
	KeyFound  = "found"
	KeyLeft   = "left"
	KeyValues = "values"
	KeyPhotos = "photos"
	KeySeal   = "seal"
)

// Form asks what was done to which parts. canonical gives the one name of a
// part that is named in another way; values are the values of the vehicle
// file.
func (b *Book) Form(car Car, canonical func(name string) (string, bool), values []string) *form.Form {
	var ids []string
	for _, w := range b.works {
		ids = append(ids, w.ID)
	}
	var f *form.Form
	kind := func() Work {
		w, _ := b.Work(f.Get(KeyWork))
		return w
	}
	f = form.New(
		form.Field{Key: KeyWork, Ask: "What kind of work was it, or what has happened?", Choices: ids},
		form.Field{Key: KeyParts, Ask: "Which parts were opened, moved or changed? A * stands for any name.", Example: "contactors.left_plus, packs.*", Many: true,
			When:  func(*form.Form) bool { return !kind().Touches(None) && !kind().Touches(Everything) },
			Check: func(text string) ([]string, error) { return chosen(car, canonical, kind(), text) }},
		form.Field{Key: KeyText, Ask: "What was done? One sentence."},
		form.Field{Key: KeyReason, Ask: "Why? One sentence."},
		form.Field{Key: KeyBy, Ask: "Who did it?", Example: "r.mills"},
		form.Field{Key: KeyDone, Ask: "When?", Example: "2027-03-20, before noon"},
		form.Field{Key: KeyFound, Ask: "Readings as found, before the work.", Example: "1.62 MΩ", Reading: true, Many: true, Optional: true},
		form.Field{Key: KeyLeft, Ask: "Readings as left, after the work.", Example: "36.9 MΩ", Reading: true, Many: true, Optional: true},
		form.Field{Key: KeyValues, Ask: "Which values of vehicle.yaml are other ones now?", Example: "precharge.resistance", Many: true, Optional: true,
			Check: func(text string) ([]string, error) { return matching(values, text, "value of vehicle.yaml") }},
		form.Field{Key: KeyPhotos, Ask: "Photographs, as files: label, joint and mark in one picture.", Example: "photos/joint.jpg", Many: true, Optional: true},
		form.Field{Key: KeySeal, Ask: "Which seal of an inspector was opened?", Example: "left box, 0471", Optional: true},
	)
	return f
}

// chosen gives the parts that a text stands for and that the work may be on.
func chosen(car Car, canonical func(string) (string, bool), w Work, text string) ([]string, error) {
	var got []string
	if part, ok := canonical(text); ok {
		got = []string{part}
	} else {
		var err error
		if got, err = matching(car.Parts(), text, "part of this car"); err != nil {
			return nil, err
		}
	}
	if w.Touches(Any) {
		return got, nil
	}
	for _, part := range got {
		collection, _, _ := strings.Cut(part, ".")
		if !slices.Contains(w.Parts, part) && !slices.Contains(w.Parts, collection) {
			return nil, fmt.Errorf("%s is not what a %s is about: %s", part, w.Title, strings.Join(w.Parts, ", "))
		}
	}
	return got, nil
}

// matching gives the names that a pattern stands for.
func matching(names []string, pattern, what string) ([]string, error) {
	var out []string
	for _, n := range names {
		if ok, err := path.Match(pattern, n); n == pattern || err == nil && ok {
			out = append(out, n)
		}
	}
	if len(out) > 0 {
		return out, nil
	}
	if near, ok := diag.Nearest(pattern, names); ok {
		return nil, fmt.Errorf("there is no %s %q; did you mean %s?", what, pattern, near)
	}
	return nil, fmt.Errorf("there is no %s %q", what, pattern)
}
