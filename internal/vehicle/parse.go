package vehicle

import (
	"regexp"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

// Format is the version of vehicle.yaml that this program reads.
const Format = "1"

var (
	itemName = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}$`)
	idName   = regexp.MustCompile(`^[a-z][a-z0-9_-]*$`)
)

// Parse reads a vehicle file. It reports every fault at once: of shape, of
// dimension, and of sense. The vehicle is never nil. With a fault in the list it
// is only good for checking other files against: a name that a car may have is
// then missing in it, never unknown.
func Parse(f *yamlfile.File) (*Vehicle, diag.List) {
	v := &Vehicle{file: f, leaves: map[string]*leaf{}, sections: map[string]diag.Place{}, items: map[string][]item{}}
	v.env = &environment{v}
	r := &reader{v: v, file: f}
	if f.Root == nil {
		var none *yamlfile.Node
		return v, f.Decode(&none)
	}
	r.mapping("", f.Root)
	if f.Root.Kind() == yamlfile.MapKind {
		r.head()
	}
	v.names = v.ownNames()
	if !r.refused {
		r.sense()
	}
	v.faulty = r.problems.Errors()
	if problems := v.derive(); !v.faulty {
		r.problems.Append(problems)
	}
	r.problems.Sort()
	return v, r.problems
}

// A reader turns the nodes of a file into leaves.
type reader struct {
	v        *Vehicle
	file     *yamlfile.File
	problems diag.List
	wrong    []string // dotted paths of values that were refused
	refused  bool     // an item has no name that could be used: what others say of it cannot be judged
}
