package vehicle

import (
	"fmt"
	"slices"
	"strings"

	"hvproof/internal/formula"
)

// environment offers the names of a car to formulas.
type environment struct{ v *Vehicle }

// Env offers the car's values to formulas, by their dotted paths.
func (v *Vehicle) Env() formula.Env { return v.env }

// defaults are the truths that hold unless the file denies them.
var defaults = map[string]bool{
	"system.conductively_connected_ac": true,
	"precharge.coil_on_shutdown":       true,
}

// Resolve gives the value of a name. A name that a car may have and this
// one has not is known, with the reason in Absent.
func (e *environment) Resolve(path string) (formula.Var, bool) {
	v := e.v
	if i, ok := v.derivedFor[path]; ok {
		d := v.derived[i]
		if d.Formula == nil {
			return formula.Var{Name: path, Dim: d.Dim, Absent: d.Absent}, true
		}
		return formula.Var{Name: path, Dim: d.Dim, Derived: d.Formula}, true
	}
	if device, contactor, ok := cutOpens(path); ok && v.hasItem("shutdown", device) && v.hasItem("contactors", contactor) {
		return formula.Var{Name: path, IsBool: true, Bool: v.opens(device, contactor)}, true
	}
	if part, ok := cutSource(path); ok && v.hasItem("isolation.parts", part) {
		return formula.Var{Name: path, IsBool: true, Bool: v.IsSource(part)}, true
	}
	if l, ok := v.leaves[path]; ok {
		switch l.field.kind {
		case number, count:
			return formula.Var{Name: path, Dim: l.value.Dim, Range: l.value}, true
		case truth:
			return formula.Var{Name: path, IsBool: true, Bool: l.truth}, true
		}
		return present(path), true
	}
	if value, ok := defaults[path]; ok {
		return formula.Var{Name: path, IsBool: true, Bool: value}, true
	}
	if _, ok := v.sections[path]; ok {
		return present(path), true
	}
	if v.isListed(path) {
		return present(path), true
	}
	return e.absent(path)
}

// present is the condition that a thing is there.
func present(path string) formula.Var { return formula.Var{Name: path, IsBool: true, Bool: true} }

// absent gives the variable of a name that the schema knows and the file
// does not give.
func (e *environment) absent(path string) (formula.Var, bool) {
	if strings.Contains(path, "*") {
		return e.pattern(path)
	}
	if f, ok := fieldOf(path); ok && !f.free {
		if !e.itemExists(f.pattern, path) && !e.v.faulty {
			return formula.Var{}, false
		}
		return formula.Var{
			Name: path, Dim: f.dim, IsBool: f.kind != number && f.kind != count,
			Absent: fmt.Sprintf("write %s in vehicle.yaml, %s", path, f.wanted()),
		}, true
	}
	if isSection(path) {
		return formula.Var{Name: path, IsBool: true,
			Absent: fmt.Sprintf("vehicle.yaml has no %s", path)}, true
	}
	if e.v.faulty {
		return faultyDerived(path)
	}
	return formula.Var{}, false
}

// faultyDerived gives a derived value of an item that a faulty file may mean.
func faultyDerived(path string) (formula.Var, bool) {
	for _, d := range derivations {
		if matches(d.pattern, path) {
			return formula.Var{Name: path, Dim: d.dim, Absent: "vehicle.yaml has faults"}, true
		}
	}
	return formula.Var{}, false
}

// pattern gives the dimension of what a pattern stands for, for a car that
// has no such item.
func (e *environment) pattern(pattern string) (formula.Var, bool) {
	collection, _, _ := strings.Cut(pattern, ".*")
	absent := formula.Var{Name: pattern, Absent: fmt.Sprintf("vehicle.yaml has no %s", collection)}
	for _, d := range derivations {
		if d.pattern == pattern {
			absent.Dim = d.dim
			return absent, true
		}
	}
	for _, f := range schema {
		if f.pattern == pattern {
			absent.Dim, absent.IsBool = f.dim, f.kind != number && f.kind != count
			return absent, true
		}
	}
	if pattern == "shutdown.*.opens.*" || pattern == "isolation.parts.*.source" || strings.HasSuffix(pattern, ".*") && slices.Contains(Collections(), collection) {
		absent.IsBool = true
		return absent, true
	}
	return formula.Var{}, false
}

// itemExists reports whether the item that the pattern's * stands for in
// the path is one of this car; true if there is no * in it.
func (e *environment) itemExists(pattern, path string) bool {
	collection, _, ok := strings.Cut(pattern, ".*")
	if !ok {
		return true
	}
	name, _, _ := strings.Cut(strings.TrimPrefix(path, collection+"."), ".")
	return e.v.hasItem(collection, name)
}

// isListed reports whether a path is an entry of a list of items.
func (v *Vehicle) isListed(path string) bool {
	for _, c := range itemLists {
		if name, ok := strings.CutPrefix(path, c+"."); ok && v.hasItem(c, name) {
			return true
		}
	}
	return false
}

// isSection reports whether a path is a section that a car may have.
func isSection(path string) bool {
	return slices.ContainsFunc(schema, func(f field) bool {
		return strings.HasPrefix(f.pattern, path+".")
	}) || slices.Contains(itemLists, path)
}

// cutOpens takes shutdown.DEVICE.opens.CONTACTOR apart.
func cutOpens(path string) (device, contactor string, ok bool) {
	p := strings.Split(path, ".")
	if len(p) != 4 || p[0] != "shutdown" || p[2] != "opens" {
		return "", "", false
	}
	return p[1], p[3], true
}

// cutSource takes isolation.parts.PART.source apart.
func cutSource(path string) (part string, ok bool) {
	p := strings.Split(path, ".")
	if len(p) != 4 || p[0] != "isolation" || p[1] != "parts" || p[3] != "source" {
		return "", false
	}
	return p[2], true
}

// Match gives the names that a pattern such as packs.*.capacity stands for,
// in file order, also those without a value: a sum over packs must not
// leave out the pack whose value is missing. extra.* gives what the file
// has.
func (e *environment) Match(pattern string) []string {
	var out []string
	for _, name := range e.Names() {
		if matches(pattern, name) {
			out = append(out, name)
		}
	}
	return out
}

// Names gives every name that Resolve knows in this car, in the order of
// the schema and of the file.
func (e *environment) Names() []string { return e.v.names }

// ownNames lists every name but those of derived values.
func (v *Vehicle) ownNames() []string {
	var out []string
	seen := map[string]bool{}
	add := func(name string) {
		if !seen[name] {
			seen[name] = true
			out = append(out, name)
		}
	}
	for _, f := range schema {
		for _, path := range v.expand(f.pattern) {
			for section := path; strings.Contains(section, "."); {
				section = section[:strings.LastIndexByte(section, '.')]
				add(section)
			}
			add(path)
		}
	}
	for _, c := range Collections() {
		for _, it := range v.items[c] {
			add(c + "." + it.name)
		}
	}
	for _, device := range v.items["shutdown"] {
		for _, contactor := range v.items["contactors"] {
			add("shutdown." + device.name + ".opens." + contactor.name)
		}
	}
	for _, part := range v.items["isolation.parts"] {
		add("isolation.parts." + part.name + ".source")
	}
	return out
}

// expand gives the paths that a pattern of the schema stands for in this
// car.
func (v *Vehicle) expand(pattern string) []string {
	collection, rest, ok := strings.Cut(pattern, ".*")
	if !ok {
		return []string{pattern}
	}
	var out []string
	for _, it := range v.items[collection] {
		out = append(out, collection+"."+it.name+rest)
	}
	return out
}
