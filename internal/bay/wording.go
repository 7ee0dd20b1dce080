package bay

import (
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

//go:embed wording.txt
var builtIn string

// A Wording is the page's texts by name.
//
// Its file is lines of `name = text`; empty lines and those that begin with #
// are passed over. {word} in a text is a place for a value. A translation has
// every name of the built-in file, and in each text the same places.
type Wording struct{ texts map[string]string }

// BuiltInWording gives the texts of wording.txt.
func BuiltInWording() *Wording {
	w, faults := parseWording("wording.txt", builtIn)
	if faults.Errors() {
		panic("the program was built with a faulty wording.txt: " + faults.Err().Error())
	}
	return w
}

// BuiltInWordingFile gives wording.txt itself, to begin a translation from.
func BuiltInWordingFile() string { return builtIn }

// ParseWording reads a shop's own texts; every fault is in the list.
func ParseWording(name, text string) (*Wording, diag.List) {
	w, faults := parseWording(name, text)
	own := BuiltInWording()
	for key, english := range own.texts {
		said, ok := w.texts[key]
		switch {
		case !ok:
			faults.Errorf(diag.Place{File: name}, key+" = "+english, "has no text for %q", key)
		case !slices.Equal(places(english), places(said)):
			faults.Errorf(diag.Place{File: name}, "the built-in text is: "+english, "%q does not have the same {places} as the built-in text", key)
		}
	}
	for key := range w.texts {
		if _, ok := own.texts[key]; !ok {
			hint := ""
			if near, ok := diag.Nearest(key, own.names()); ok {
				hint = "did you mean " + near + "?"
			}
			faults.Errorf(diag.Place{File: name}, hint, "the page has no text %q", key)
		}
	}
	if d := w.texts["decimal"]; d != "." && d != "," {
		faults.Errorf(diag.Place{File: name}, "decimal = .", "the decimal sign is %q: neither a point nor a comma", d)
	}
	if n := w.texts["numbers"]; n != "words" && n != "digits" {
		faults.Errorf(diag.Place{File: name}, "numbers = digits", "numbers are read as %q: neither words nor digits", n)
	}
	faults.Sort()
	return w, faults
}

func parseWording(name, text string) (*Wording, diag.List) {
	w := &Wording{texts: map[string]string{}}
	var faults diag.List
	n := 0
	for line := range strings.Lines(strings.TrimPrefix(text, "\ufeff")) {
		n++
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		at := diag.Place{File: name, Line: n}
		key, said, ok := strings.Cut(line, "=")
		key, said = strings.TrimSpace(key), strings.TrimSpace(said)
		switch {
		case !ok || key == "":
			faults.Errorf(at, "write it as name = text", "is not a text with its name")
		case w.texts[key] != "":
			faults.Errorf(at, "", "%q was given before", key)
		case said == "":
			faults.Errorf(at, "", "%q has no text", key)
		default:
			w.texts[key] = said
		}
	}
	return w, faults
}

var place = regexp.MustCompile(`\{[a-z]+\}`)

func places(text string) []string {
	p := place.FindAllString(text, -1)
	slices.Sort(p)
	return p
}

func (w *Wording) names() []string {
	var out []string
	for k := range w.texts {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// T gives the text with the name, its places filled in from pairs of place
// and value. A name that is not there is an error of the page.
func (w *Wording) T(name string, pairs ...any) (string, error) {
	text, ok := w.texts[name]
	if !ok {
		return "", fmt.Errorf("wording: there is no text %q", name)
	}
	if len(pairs)%2 != 0 {
		return "", fmt.Errorf("wording: %q is given a place without a value", name)
	}
	for i := 0; i < len(pairs); i += 2 {
		where := fmt.Sprintf("{%v}", pairs[i])
		if !strings.Contains(text, where) {
			return "", fmt.Errorf("wording: %q has no place %s", name, where)
		}
		text = strings.ReplaceAll(text, where, fmt.Sprint(pairs[i+1]))
	}
	return text, nil
}

// say is T for texts that the program names itself; a test sees to it that
// they are all there.
func (w *Wording) say(name string, pairs ...any) string {
	text, err := w.T(name, pairs...)
	if err != nil {
		return name
	}
	return text
}

// has reports whether there is a text with the name.
func (w *Wording) has(name string) bool { return w.texts[name] != "" }

// maybe gives the text with the name, or otherwise where there is none: for
// words of the car's own files that the page may know better.
func (w *Wording) maybe(name, otherwise string) string {
	if text := w.texts[name]; text != "" {
		return text
	}
	return otherwise
}

// bound gives a limit or a window in the language's words, its values as the
// program writes them everywhere.
func (w *Wording) bound(b quantity.Bound) string {
	text := b.String()
	whole := func(value string) string { return strings.ReplaceAll(value, " ", "\u00a0") } // a number stays with its unit
	for _, name := range []string{"at least", "at most", "magnitude at most"} {
		if value, ok := strings.CutPrefix(text, name+" "); ok {
			return w.say("bound "+name, "value", whole(value))
		}
	}
	for _, name := range [][2]string{{"between", " and "}, {"expected", " to "}} {
		if rest, ok := strings.CutPrefix(text, name[0]+" "); ok {
			if from, to, two := strings.Cut(rest, name[1]); two {
				return w.say("bound "+name[0], "from", whole(from), "to", whole(to))
			}
			return whole(rest) // a window of one value stands under its heading
		}
	}
	return text
}

// comma reports whether the language writes a decimal comma.
func (w *Wording) comma() bool { return w.texts["decimal"] == "," }
