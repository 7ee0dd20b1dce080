package vehicle

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"hvproof/internal/can"
	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

// Signals gives the car's CAN signals in file order.
func (v *Vehicle) Signals() []can.Signal {
	var out []can.Signal
	for _, it := range v.items["can"] {
		out = append(out, v.signal(it.name))
	}
	return out
}

// signal puts one signal together. What the file does not give is zero.
func (v *Vehicle) signal(name string) can.Signal {
	path := "can." + name
	word := func(key string) uint64 {
		n, _ := whole(v.Text(path + "." + key))
		return n
	}
	s := can.Signal{Name: name, ID: uint32(word("id")), Interface: v.Text(path + ".interface"),
		Start: int(word("start")), BigEndian: v.Text(path+".order") == "big"}
	s.Extended = s.ID > can.LargestStandard || v.says(path+".extended")
	s.Signed = v.says(path + ".signed")
	if bits, _, ok := v.Value(path + ".bits"); ok {
		s.Bits = int(bits.Nominal)
	}
	if scale, _, ok := v.Value(path + ".scale"); ok {
		s.Scale, s.Dim = scale.Nominal, scale.Dim
		s.Unit, _ = scale.Dim.Unit()
	}
	if offset, _, ok := v.Value(path + ".offset"); ok {
		s.Offset = offset.Nominal
	}
	for _, raw := range v.list(path + ".invalid") {
		n, _ := whole(raw.Text)
		s.Invalid = append(s.Invalid, n)
	}
	return s
}

// says reports whether a truth is written and true.
func (v *Vehicle) says(path string) bool {
	l, ok := v.leaves[path]
	return ok && l.truth
}

// whole reads a whole number from 0, decimal or after 0x.
func whole(text string) (uint64, bool) {
	base := 10
	if rest, ok := strings.CutPrefix(strings.ToLower(text), "0x"); ok {
		text, base = rest, 16
	}
	n, err := strconv.ParseUint(text, base, 64)
	return n, err == nil && !strings.HasPrefix(text, "+")
}

// whole reads a field that is a whole number of at most 32 bits.
func (r *reader) whole(l *leaf) bool {
	n, ok := whole(l.at.Text)
	switch {
	case !ok:
		r.fault(l.at, "write "+l.field.wanted(), "%s is %q, not a whole number", l.path, l.at.Text)
	case n > math.MaxUint32:
		r.fault(l.at, "write "+l.field.wanted(), "%s is %q, not a whole number up to 0x1FFFFFFF", l.path, l.at.Text)
	}
	return ok && n <= math.MaxUint32
}

// wholes reads a list of whole numbers.
func (r *reader) wholes(l *leaf, n *yamlfile.Node) bool {
	if n.Kind() != yamlfile.ListKind {
		r.fault(n.Scalar(), "write "+l.field.wanted(), "%s is %s, not a list", l.path, n.Kind())
		return false
	}
	for _, it := range n.Items() {
		sc := it.Scalar()
		if _, ok := whole(sc.Text); !ok || it.Kind() != yamlfile.TextKind {
			r.fault(sc, "write "+l.field.wanted(), "%s has %q in its list, not a whole number", l.path, sc.Text)
			return false
		}
		l.names = append(l.names, sc)
	}
	return true
}

// signals checks that each CAN signal says all that it takes to find it, and
// lies in a frame.
func (r *reader) signals() {
	v := r.v
	for _, it := range v.items["can"] {
		path := "can." + it.name
		var lacks []string
		for _, key := range []string{"id", "start", "bits", "order", "scale"} {
			if v.leaves[path+"."+key] == nil && !slices.Contains(r.wrong, path+"."+key) {
				lacks = append(lacks, key)
			}
		}
		if len(lacks) > 0 {
			r.fault(it.key, fmt.Sprintf("write it as %s: {id: 0x3A1, start: 0, bits: 16, order: little, scale: 0.1 V}", it.name),
				"CAN signal %s does not give its %s", it.name, strings.Join(lacks, ", "))
			continue
		}
		r.scale(path)
		if slices.ContainsFunc(r.wrong, func(p string) bool { return strings.HasPrefix(p, path+".") }) {
			continue
		}
		if err := v.signal(it.name).Check(); err != nil {
			r.fault(it.key, diag.HintOf(err), "%s", err)
		}
	}
}

// scale checks that a signal's scale and offset are exact and in one unit.
func (r *reader) scale(path string) {
	scale, offset := r.v.leaves[path+".scale"], r.v.leaves[path+".offset"]
	for _, l := range []*leaf{scale, offset} {
		if l != nil && l.value.Lo != l.value.Hi {
			r.fault(l.at, "leave the tolerance out: what a count stands for is agreed, not made", "%s is %s, with a tolerance", l.path, l.at.Text)
		}
	}
	if scale != nil && offset != nil && scale.value.Dim != offset.value.Dim {
		r.fault(offset.at, fmt.Sprintf("%s is %s (%s)", scale.path, scale.at.Text, scale.place),
			"%s is %s, which is %s, not %s", offset.path, offset.at.Text, noun(offset.value.Dim), noun(scale.value.Dim))
	}
}
