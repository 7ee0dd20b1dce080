package vehicle

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// A Vehicle is one car as its file describes it. It does not change.
type Vehicle struct {
	file     *yamlfile.File
	leaves   map[string]*leaf // by dotted path
	sections map[string]diag.Place
	items    map[string][]item // collection → items, in file order
	faulty   bool              // the file has faults: what is not here may be meant all the same

	env        *environment
	names      []string // every name in formulas
	derived    []Derived
	derivedFor map[string]int // name → index in derived
}

// A leaf is one value that the file gives.
type leaf struct {
	field *field
	path  string
	at    yamlfile.Scalar // the value as written; of a list, its first entry
	place diag.Place
	value quantity.Range // number, count
	truth bool
	names []yamlfile.Scalar
}

// An item is one entry of a collection.
type item struct {
	name string
	key  yamlfile.Scalar
}

// Name is what the car is called; empty if the file does not say.
func (v *Vehicle) Name() string { return v.Text("name") }

// Text gives the words of a text field, such as "contactors.left_plus.pole"
// or "revision", as written; empty if absent.
func (v *Vehicle) Text(path string) string {
	if l, ok := v.leaves[path]; ok {
		return l.at.Text
	}
	return ""
}

// AssessedTo gives the ids of the rule sets that the car is assessed to.
func (v *Vehicle) AssessedTo() []yamlfile.Scalar { return v.list("assessed_to") }

// Required gives the proofs that the file asks for, and whether it says so
// at all: without the key, all built-in ones of stages A to D are required.
func (v *Vehicle) Required() (proofs []yamlfile.Scalar, stated bool) {
	_, stated = v.leaves["required"]
	return v.list("required"), stated
}

func (v *Vehicle) list(path string) []yamlfile.Scalar {
	if l, ok := v.leaves[path]; ok {
		return slices.Clone(l.names)
	}
	return nil
}

// Collection gives the names of the items in a collection in file order,
// and the place of the collection. Collections are the maps packs,
// contactors, fuses, cables, shutdown, joints, can, extra, and the lists isolation.parts
// and bonding.points. ok is false if there is no such collection in any
// car; a car without the section has no items, and an unknown place.
func (v *Vehicle) Collection(name string) (items []string, at diag.Place, ok bool) {
	if !slices.Contains(Collections(), name) {
		return nil, diag.Place{}, false
	}
	for _, it := range v.items[name] {
		items = append(items, it.name)
	}
	return items, v.sections[name], true
}

// Collections gives the names of all collections.
func Collections() []string { return slices.Concat(itemMaps, itemLists) }

// Value gives a number of the file by its dotted path, SI, and where it
// stands. ok is false if the file does not give it.
func (v *Vehicle) Value(path string) (quantity.Range, diag.Place, bool) {
	l, ok := v.leaves[path]
	if !ok || l.field.kind != number && l.field.kind != count {
		return quantity.Range{}, diag.Place{}, false
	}
	return l.value, l.place, true
}

// MaxVoltage gives the car's highest voltage in V. The error says which
// value is missing.
func (v *Vehicle) MaxVoltage() (quantity.Range, error) { return v.DerivedValue("system.max_voltage") }

// DerivedValue gives a derived number, such as "precharge.tau", over the
// tolerances of the file. The error says which value is missing, or which
// one cannot be used.
func (v *Vehicle) DerivedValue(name string) (quantity.Range, error) {
	i, ok := v.derivedFor[name]
	if !ok {
		return quantity.Range{}, fmt.Errorf("%s is not a derived value of this car", name)
	}
	d := v.derived[i]
	if d.Absent != "" {
		return quantity.Range{}, fmt.Errorf("%s: %s", name, d.Absent)
	}
	r, err := d.Formula.Eval()
	if err != nil {
		return quantity.Range{}, fmt.Errorf("%s: %w", name, err)
	}
	return quantity.Range{Lo: r.Lo, Nominal: r.Nominal, Hi: r.Hi, Dim: d.Dim}, nil
}

// Whole is the part that stands for the whole HV system.
const Whole = "whole"

// partSections are the sections that are parts of the car themselves.
var partSections = []string{"drive", "dc_link", "discharge", "precharge", "pyro", "low_voltage", "isolation_monitor"}

// Parts gives the names of all parts of the car, each once: "packs.left",
// "contactors.left_plus", "dc_link", "bonding.seat", the names of
// isolation.parts, "whole".
func (v *Vehicle) Parts() []string {
	var out []string
	add := func(part string) {
		if !slices.Contains(out, part) {
			out = append(out, part)
		}
	}
	for _, c := range []string{"packs", "contactors", "fuses", "cables", "shutdown", "joints"} {
		for _, it := range v.items[c] {
			add(c + "." + it.name)
		}
	}
	for _, s := range partSections {
		if _, ok := v.sections[s]; ok {
			add(s)
		}
	}
	for _, it := range v.items["isolation.parts"] {
		if part, ok := v.pack(it.name); ok {
			add(part)
		} else {
			add(it.name)
		}
	}
	for _, it := range v.items["bonding.points"] {
		add("bonding." + it.name)
	}
	add(Whole)
	return out
}

// Part gives the one name of a part that may be named in two ways: the pack
// `left` is "packs.left", a bonding point "bonding.points.seat" is
// "bonding.seat", a part "isolation.parts.inlet" is "inlet". ok is false for
// what is not a part of this car.
func (v *Vehicle) Part(name string) (string, bool) {
	name = strings.TrimPrefix(name, "isolation.parts.")
	if after, ok := strings.CutPrefix(name, "bonding.points."); ok {
		name = "bonding." + after
	}
	if part, ok := v.pack(name); ok {
		return part, true
	}
	return name, slices.Contains(v.Parts(), name)
}

// pack gives the full name of a pack that is named alone.
func (v *Vehicle) pack(name string) (string, bool) {
	return "packs." + name, v.hasItem("packs", name)
}

// IsSource reports whether a part cannot be rid of its voltage by opening
// anything: a pack, what is joined to a pack's terminals (its contactors and
// fuses), and the whole of a car with packs. Joining both poles of such a
// part is a short circuit.
func (v *Vehicle) IsSource(part string) bool {
	part, _ = v.Part(part)
	collection, name, _ := strings.Cut(part, ".")
	switch collection {
	case Whole, "packs":
		return len(v.items["packs"]) > 0
	case "contactors":
		return v.Text(part+".pack") != ""
	case "fuses":
		return v.packOfFuse(name) != ""
	}
	return false
}

// packOfFuse gives the pack that a fuse protects, or "".
func (v *Vehicle) packOfFuse(fuse string) string {
	if pack := v.Text("fuses." + fuse + ".pack"); pack != "" {
		return pack
	}
	if v.Text("fuses."+fuse+".part") == "" && v.hasItem("packs", fuse) {
		return fuse
	}
	return ""
}

// packOf gives the pack whose current an item of a collection carries, or "".
func (v *Vehicle) packOf(collection, item string) string {
	path := collection + "." + item
	switch collection {
	case "fuses":
		return v.packOfFuse(item)
	case "joints":
		if pack := v.Text(path + ".pack"); pack != "" {
			return pack
		}
		if pack := strings.TrimPrefix(v.Text(path+".part"), "packs."); v.hasItem("packs", pack) {
			return pack
		}
		return ""
	}
	return v.Text(path + ".pack")
}

// opens reports whether a shutdown device opens a contactor.
func (v *Vehicle) opens(device, contactor string) bool {
	l, stated := v.leaves["shutdown."+device+".opens"]
	if !stated {
		return true
	}
	return slices.ContainsFunc(l.names, func(s yamlfile.Scalar) bool { return s.Text == contactor })
}

// prechargeFrom gives the pack that pre-charges the DC link: the one named,
// or the only one.
func (v *Vehicle) prechargeFrom() string {
	if from := v.Text("precharge.from"); from != "" {
		return from
	}
	if packs := v.items["packs"]; len(packs) == 1 {
		return packs[0].name
	}
	return ""
}

func (v *Vehicle) hasItem(collection, name string) bool {
	return slices.ContainsFunc(v.items[collection], func(it item) bool { return it.name == name })
}
