package vehicle

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// mapping reads the map at a dotted path; "" is the whole file.
func (r *reader) mapping(path string, n *yamlfile.Node) {
	if n.Kind() != yamlfile.MapKind {
		r.fault(n.Scalar(), "write keys with values: "+strings.Join(keysAt(path), ", "), "%s is %s, not a map", called(path), n.Kind())
		return
	}
	isItems := slices.Contains(itemMaps, path)
	for _, p := range n.Pairs() {
		child := join(path, p.Key.Text)
		if isItems && !r.addItem(path, p.Key) {
			continue
		}
		if f, ok := fieldOf(child); ok {
			r.leaf(f, child, p)
		} else if sectionAt(child) {
			if p.Value.Kind() == yamlfile.MapKind {
				r.v.sections[child] = p.Key.At
			}
			r.mapping(child, p.Value)
		} else {
			r.unknown(path, p.Key)
		}
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func called(path string) string {
	if path == "" {
		return "a vehicle file"
	}
	return path
}

// sectionAt reports whether something stands below a dotted path.
func sectionAt(path string) bool {
	return slices.ContainsFunc(schema, func(f field) bool { return below(f.pattern, path) != "" })
}

// keysAt gives the keys that may stand below a dotted path, in the order of
// the schema.
func keysAt(path string) []string {
	var out []string
	for _, f := range schema {
		key, _, _ := strings.Cut(f.pattern, ".")
		if path != "" {
			key = below(f.pattern, path)
		}
		if key == "*" {
			key = "NAME"
		}
		if key != "" && !slices.Contains(out, key) {
			out = append(out, key)
		}
	}
	return out
}

// below gives the word of a pattern that follows a dotted path, or "".
func below(pattern, path string) string {
	p, q := strings.Split(pattern, "."), strings.Split(path, ".")
	if len(p) <= len(q) || !matches(strings.Join(p[:len(q)], "."), path) {
		return ""
	}
	return p[len(q)]
}

// unknown reports a key that the schema does not have.
func (r *reader) unknown(path string, key yamlfile.Scalar) {
	keys := keysAt(path)
	hint := diag.DidYouMean(key.Text, keys)
	if hint == "" {
		hint = "keys here: " + strings.Join(keys, ", ")
		for _, f := range schema {
			if words := strings.Split(f.pattern, "."); words[len(words)-1] == key.Text || words[0] == key.Text {
				hint = fmt.Sprintf("%s belongs to %s", key.Text, f.pattern)
				break
			}
		}
	}
	r.fault(key, hint, "%s has no key %q", called(path), key.Text)
}

// addItem adds an item to a collection, or reports what is wrong with its
// name.
func (r *reader) addItem(collection string, key yamlfile.Scalar) bool {
	before := len(r.problems)
	defer func() { r.refused = r.refused || len(r.problems) > before }()
	switch {
	case !itemName.MatchString(key.Text):
		r.fault(key, "small letters, digits and _, a letter first, such as left_plus", "%.70q cannot be the name of an item of %s", key.Text, collection)
		return false
	case isUnit(key.Text):
		r.fault(key, fmt.Sprintf("choose another name, such as %s_1", key.Text), "%q is the name of a unit, and cannot be the name of an item of %s", key.Text, collection)
		return false
	case r.v.hasItem(collection, key.Text):
		r.fault(key, "write it once", "%q is in %s twice", key.Text, collection)
		return false
	}
	r.v.items[collection] = append(r.v.items[collection], item{key.Text, key})
	return true
}

// isUnit reports whether a word can be read as a unit.
func isUnit(word string) bool {
	_, err := quantity.Parse("1 " + word)
	return err == nil
}

// leaf reads one value.
func (r *reader) leaf(f *field, path string, p yamlfile.Pair) {
	l := &leaf{field: f, path: path, at: p.Value.Scalar(), place: p.Value.Place()}
	ok := false
	switch {
	case f.kind == names:
		ok = r.nameList(l, p.Key, p.Value)
	case f.kind == raws:
		ok = r.wholes(l, p.Value)
	case p.Value.Kind() != yamlfile.TextKind:
		r.fault(p.Value.Scalar(), "write "+f.wanted(), "%s is %s, not one value", path, p.Value.Kind())
	case f.kind == number:
		ok = r.number(l)
	case f.kind == count:
		ok = r.count(l)
	case f.kind == raw:
		ok = r.whole(l)
	case f.kind == truth:
		ok = r.word(l, "true", "false")
		l.truth = l.at.Text == "true"
	case f.kind == oneOf:
		ok = r.word(l, f.choices...)
	default:
		if ok = strings.TrimSpace(l.at.Text) != ""; !ok {
			r.fault(l.at, "write "+f.wanted(), "%s is empty", path)
		}
	}
	if ok {
		r.v.leaves[path] = l
	} else {
		r.wrong = append(r.wrong, path)
	}
}

// word reads one of some words.
func (r *reader) word(l *leaf, choices ...string) bool {
	if slices.Contains(choices, l.at.Text) {
		return true
	}
	hint := diag.DidYouMean(l.at.Text, choices)
	if hint == "" {
		hint = "write " + strings.Join(choices, " or ")
	}
	r.fault(l.at, hint, "%s cannot be %q", l.path, l.at.Text)
	return false
}

// nameList reads a list of names; those of a collection are items.
func (r *reader) nameList(l *leaf, key yamlfile.Scalar, n *yamlfile.Node) bool {
	if n.Kind() != yamlfile.ListKind {
		r.fault(n.Scalar(), "write "+l.field.wanted(), "%s is %s, not a list", l.path, n.Kind())
		return false
	}
	isItems := slices.Contains(itemLists, l.path)
	if isItems {
		r.v.sections[l.path] = key.At
	}
	for _, it := range n.Items() {
		sc := it.Scalar()
		switch {
		case it.Kind() != yamlfile.TextKind:
			r.fault(sc, "write "+l.field.wanted(), "%s has %s in its list, not a name", l.path, it.Kind())
		case isItems:
			if r.addItem(l.path, sc) {
				l.names = append(l.names, sc)
			}
		case !idName.MatchString(sc.Text):
			r.fault(sc, "small letters, digits, - and _", "%q cannot be a name in %s", sc.Text, l.path)
		case slices.ContainsFunc(l.names, func(s yamlfile.Scalar) bool { return s.Text == sc.Text }):
			r.fault(sc, "write it once", "%q is in %s twice", sc.Text, l.path)
		default:
			l.names = append(l.names, sc)
		}
	}
	return true
}

// largestCount is more of anything than a car has.
const largestCount = 1_000_000

// count reads a whole number of things.
func (r *reader) count(l *leaf) bool {
	n, err := strconv.ParseUint(l.at.Text, 10, 32)
	if err != nil || n < 1 || n > largestCount || l.at.Text[0] == '+' {
		r.fault(l.at, "write "+l.field.wanted(), "%s is %q, not a whole number from 1 to %d", l.path, l.at.Text, largestCount)
		return false
	}
	x := float64(n)
	l.value = quantity.Range{Lo: x, Nominal: x, Hi: x, Dim: quantity.One, Text: l.at.Text}
	return true
}

// number reads a quantity and checks its dimension and that it makes sense.
func (r *reader) number(l *leaf) bool {
	v, err := quantity.ParseRange(l.at.Text)
	var bad *quantity.SyntaxError
	switch {
	case errors.As(err, &bad):
		hint := bad.Hint
		if hint == "" {
			hint = "write " + l.field.wanted()
		}
		r.problems.Add(r.file.Inside(l.at, bad.Offset, max(1, len([]rune(l.at.Text[min(bad.Offset, len(l.at.Text)):]))), hint, "%s: %s", l.path, bad.Message))
		return false
	case err != nil:
		r.fault(l.at, "write "+l.field.wanted(), "%s: %v", l.path, err)
		return false
	case !l.field.free && v.Dim != l.field.dim:
		if v.Dim == quantity.One {
			r.fault(l.at, "write "+l.field.wanted(), "%s is %s, a number without a unit", l.path, l.at.Text)
		} else {
			r.fault(l.at, "write "+l.field.wanted(), "%s is %s, which is %s, not %s", l.path, l.at.Text, noun(v.Dim), noun(l.field.dim))
		}
		return false
	}
	if what := l.field.sense.refuses(v); what != "" {
		r.fault(l.at, "write "+l.field.wanted(), "%s is %s, %s", l.path, l.at.Text, what)
		return false
	}
	l.value = v
	return true
}

// refuses says why a number makes no sense in a field, or "".
func (s sense) refuses(v quantity.Range) string {
	switch {
	case s == anyNumber:
		return ""
	case v.Nominal < 0:
		return "and cannot be negative"
	case v.Nominal == 0 && s != notNegative:
		return "and cannot be zero"
	case v.Nominal > 0 && v.Lo < 0:
		return "and its tolerance reaches below zero"
	case v.Nominal > 0 && v.Lo == 0:
		return "and its tolerance reaches zero"
	case v.Nominal == 0 && v.Lo < 0:
		return "and its tolerance reaches below zero"
	case s == fraction && v.Hi >= 1:
		return "and must be below 1 (100 %)"
	case s == factor && v.Lo < 1:
		return "and must be 1 or more"
	}
	return ""
}

// head checks what every vehicle file says about itself.
func (r *reader) head() {
	v := r.v
	if f, ok := v.leaves["format"]; ok && f.at.Text != Format {
		r.fault(f.at, "write format: "+Format, "format %s of a vehicle file is not known to this program", f.at.Text)
	}
	for _, key := range []string{"format", "name"} {
		if _, given := r.file.Root.Get(key); !given {
			f, _ := fieldOf(key)
			r.problems.Errorf(r.file.Root.Place(), fmt.Sprintf("write %s: %s", key, f.example), "a vehicle file needs %s", key)
		}
	}
}
