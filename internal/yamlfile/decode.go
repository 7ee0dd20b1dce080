package yamlfile

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"

	"github.com/go-playground/validator/v10"

	"hvproof/internal/diag"
)

// Decode fills into, a pointer, from the whole file and reports every fault:
// unknown keys with the nearest known one, values of the wrong kind, missing
// keys. Of a file that Parse could not read it gives Parse's faults.
//
// Struct fields have the tag `yaml:"key"`, and `yaml:",inline"` for an
// embedded struct; a field without tag is left alone. Their types are string,
// Scalar, bool (true and false), int (decimal), structs, []T, Map[T], *T (nil
// if the key is absent), and *Node for a value taken as it is. The tag
// `validate` holds rules of package validator for the shape: required (the
// key must be there and not empty), oneof and others on texts, numbers and
// lengths; they are asked only if the key is there.
func (f *File) Decode(into any) diag.List {
	if f.Root == nil {
		return append(diag.List(nil), f.problems...)
	}
	return f.Root.Decode(f, into)
}

// Decode fills into from this node, as File.Decode does from the root. f must
// be the node's file.
func (n *Node) Decode(f *File, into any) diag.List {
	v := reflect.ValueOf(into)
	if v.Kind() != reflect.Pointer || v.IsNil() {
		panic("yamlfile: Decode needs a pointer")
	}
	d := &decoder{file: f, check: validator.New()}
	d.value(n, v.Elem(), Scalar{})
	d.list.Sort()
	return capped(d.list, f.Name)
}

type decoder struct {
	file  *File
	check *validator.Validate
	list  diag.List
}

// mapDecoder is implemented by *Map[T].
type mapDecoder interface{ decode(d *decoder, n *Node) }

func (m *Map[T]) decode(d *decoder, n *Node) {
	for _, p := range n.pairs {
		var v T
		d.value(p.Value, reflect.ValueOf(&v).Elem(), p.Key)
		m.add(p.Key, v)
	}
}

var (
	scalarType = reflect.TypeFor[Scalar]()
	nodeType   = reflect.TypeFor[*Node]()
)

// value fills v from n. key is the key that the value stands after, zero for
// an item of a list or the root.
func (d *decoder) value(n *Node, v reflect.Value, key Scalar) {
	if v.Type() == nodeType {
		v.Set(reflect.ValueOf(n))
		return
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		d.value(n, v.Elem(), key)
		return
	}
	if m, ok := v.Addr().Interface().(mapDecoder); ok {
		if d.want(n, MapKind, key) {
			m.decode(d, n)
		}
		return
	}
	switch {
	case v.Type() == scalarType:
		if d.want(n, TextKind, key) {
			v.Set(reflect.ValueOf(n.scalar))
		}
	case v.Kind() == reflect.Struct:
		if d.want(n, MapKind, key) {
			d.structure(n, v, key)
		}
	case v.Kind() == reflect.Slice:
		if d.want(n, ListKind, key) {
			v.Set(reflect.MakeSlice(v.Type(), len(n.items), len(n.items)))
			for i, item := range n.items {
				d.value(item, v.Index(i), Scalar{})
			}
		}
	default:
		if d.want(n, TextKind, key) {
			d.text(n.scalar, v)
		}
	}
}

// text fills a string, bool or int.
func (d *decoder) text(s Scalar, v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(s.Text)
	case reflect.Bool:
		switch s.Text {
		case "true", "false":
			v.SetBool(s.Text == "true")
		default:
			d.list.Add(d.file.At(s, "write true or false", "%s is neither true nor false", quoted(s.Text)))
		}
	case reflect.Int:
		n, err := strconv.Atoi(s.Text)
		if err != nil {
			d.list.Add(d.file.At(s, "write it in digits, without unit, as in 96", "%s is not a whole number", quoted(s.Text)))
			return
		}
		v.SetInt(int64(n))
	default:
		panic(fmt.Sprintf("yamlfile: a field of type %s cannot be decoded", v.Type()))
	}
}

// want reports a value of the wrong kind.
func (d *decoder) want(n *Node, kind Kind, key Scalar) bool {
	if n.kind == kind {
		return true
	}
	hint := map[Kind]string{
		TextKind: "write one value, as in key: value",
		MapKind:  "write keys with values, as in {key: value}",
		ListKind: "write a list, as in [a, b]",
	}[kind]
	what := "this"
	switch {
	case key.Given():
		what = quoted(key.Text)
	case n == d.file.Root:
		what = "the file"
	}
	s := n.scalar
	if n.kind != TextKind {
		s.Source = d.file.Line(s.At.Line)
	}
	d.list.Add(d.file.Problem(s.At, max(1, s.span()), hint, "%s is %s where %s is expected", what, n.kind, kind))
	return false
}

// field is one key of a struct.
type field struct {
	key      string
	index    []int
	validate string
}

// fields gives the keys of a struct type, those of inlined structs included.
func fields(t reflect.Type) []field {
	var out []field
	for i := range t.NumField() {
		sf := t.Field(i)
		tag, tagged := sf.Tag.Lookup("yaml")
		name, options, _ := strings.Cut(tag, ",")
		switch {
		case !tagged || tag == "-":
		case options == "inline":
			for _, inner := range fields(sf.Type) {
				inner.index = append([]int{i}, inner.index...)
				out = append(out, inner)
			}
		default:
			out = append(out, field{name, []int{i}, sf.Tag.Get("validate")})
		}
	}
	return out
}

func (d *decoder) structure(n *Node, v reflect.Value, key Scalar) {
	known := fields(v.Type())
	names := make([]string, len(known))
	byName := make(map[string]field, len(known))
	for i, f := range known {
		names[i] = f.key
		byName[f.key] = f
	}
	for _, p := range n.pairs {
		f, ok := byName[p.Key.Text]
		if !ok {
			d.list.Add(d.file.At(p.Key, unknownHint(p.Key.Text, names), "there is no key %s here", quoted(p.Key.Text)))
			continue
		}
		to := v.FieldByIndex(f.index)
		before := len(d.list)
		d.value(p.Value, to, p.Key)
		if len(d.list) == before {
			d.shape(f, p, to)
		}
	}
	for _, f := range known {
		if _, ok := n.Get(f.key); !ok && isRequired(f.validate) {
			d.missing(n, f.key, key)
		}
	}
}

// unknownHint names the nearest key, or all if they are few.
func unknownHint(word string, names []string) string {
	if hint := diag.DidYouMean(word, names); hint != "" {
		return hint
	}
	if len(names) > 12 {
		return ""
	}
	return "keys here: " + strings.Join(names, ", ")
}

// missing reports a required key, at the key of the map that lacks it.
func (d *decoder) missing(n *Node, name string, key Scalar) {
	hint := fmt.Sprintf("add a line %s: …", name)
	switch {
	case key.Given():
		d.list.Add(d.file.At(key, hint, "the key %q is missing in %s", name, quoted(key.Text)))
	case n == d.file.Root:
		d.list.Add(d.file.Problem(diag.Place{Line: 1, Column: 1}, 1, hint, "the key %q is missing", name))
	default:
		d.list.Add(d.file.Problem(n.Place(), 1, hint, "the key %q is missing", name))
	}
}
