package yamlfile

import (
	"errors"
	"reflect"
	"strings"

	"github.com/go-playground/validator/v10"

	"hvproof/internal/diag"
)

// isRequired reports whether a validate tag has the rule required.
func isRequired(tag string) bool {
	for rule := range strings.SplitSeq(tag, ",") {
		if rule == "required" {
			return true
		}
	}
	return false
}

// shape asks the rules of a field's validate tag about a value that is there.
func (d *decoder) shape(f field, p Pair, v reflect.Value) {
	if f.validate == "" {
		return
	}
	if isRequired(f.validate) && isEmpty(p.Value) {
		d.list.Add(d.file.At(p.Key, "write a value", "the key %s is empty", quoted(p.Key.Text)))
		return
	}
	rules := strings.Split(f.validate, ",")
	kept := rules[:0]
	for _, r := range rules {
		if r != "required" && r != "omitempty" {
			kept = append(kept, r)
		}
	}
	if len(kept) == 0 {
		return
	}
	var broken validator.ValidationErrors
	err := d.check.Var(plain(v), strings.Join(kept, ","))
	if err == nil {
		return
	}
	if !errors.As(err, &broken) {
		panic("yamlfile: " + err.Error()) // a wrong tag in our own code
	}
	for _, b := range broken {
		message, hint := shapeWords(p, v.Kind() == reflect.Int, b.Tag(), b.Param())
		s := p.Value.scalar
		if p.Value.kind != TextKind {
			s = p.Key
		}
		d.list.Add(d.file.At(s, hint, "%s", message))
	}
}

// isEmpty reports an empty text, map or list.
func isEmpty(n *Node) bool {
	switch n.kind {
	case MapKind:
		return len(n.pairs) == 0
	case ListKind:
		return len(n.items) == 0
	}
	return strings.TrimSpace(n.scalar.Text) == ""
}

// plain gives the value that validator looks at: a Scalar's text, the number
// of a Map's keys as a list, else the value itself.
func plain(v reflect.Value) any {
	switch x := v.Interface().(type) {
	case Scalar:
		return x.Text
	case *Scalar:
		return x.Text
	case interface{ Keys() []Scalar }:
		return x.Keys()
	}
	return v.Interface()
}

// shapeWords says in plain words which rule is broken.
func shapeWords(p Pair, number bool, rule, param string) (message, hint string) {
	key, n := quoted(p.Key.Text), p.Value
	unit := map[Kind]string{TextKind: " character", MapKind: " key", ListKind: " item"}[n.kind]
	if param != "1" {
		unit += "s"
	}
	if number {
		unit = ""
	}
	switch rule {
	case "oneof":
		words := strings.Fields(strings.ReplaceAll(param, "'", ""))
		hint = "write " + strings.Join(words, " or ")
		if near, ok := diag.Nearest(n.Text(), words); ok {
			hint = "did you mean " + quoted(near) + "?"
		}
		return quoted(n.Text()) + " is not one of " + strings.Join(words, ", "), hint
	case "min", "gte":
		return key + " needs at least " + param + unit, ""
	case "max", "lte":
		return key + " may have at most " + param + unit, ""
	case "len":
		return key + " needs exactly " + param + unit, ""
	case "unique":
		return key + " holds something twice", "delete one of the two"
	}
	return strings.TrimSpace("the value of " + key + " does not fit the rule " + rule + " " + param), ""
}
