package rules

import (
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/vehicle"
)

// A Listed is one limit of a chosen rule set with its value for this car,
// whether or not a procedure uses it.
type Listed struct {
	plan.Bound            // of a limit without a value only ID, Rules, Source, Method, Rule and Formula
	Title, Edition string // of the rule set
	Status         Status
	Note           string
	At             diag.Place
	Item           string // "joints.left_plus", of a limit that is another for each item
	NotApplicable  string // why it does not concern this car, or ""
	Missing        string // which value it lacks and where that would stand, or ""
}

// HasValue reports whether the limit has a value for this car.
func (l Listed) HasValue() bool { return l.NotApplicable == "" && l.Missing == "" }

// All gives every limit of the chosen rule sets, ordered by id as the sets
// and their files have them. A limit whose formula names a loop variable is
// given once for each item that the variable can stand for. Limits whose
// formulas are faulty are left out; NewBook has reported them.
func (b *Book) All() []Listed { return slices.Clone(b.all) }

// listAll fills b.all and reports every fault of the formulas.
func (b *Book) listAll() diag.List {
	var problems diag.List
	for _, id := range b.ids {
		byItem := map[string][]int{} // index in b.all
		for _, l := range b.byID[id] {
			for _, one := range b.listOne(l, &problems) {
				b.all = append(b.all, one)
				if one.HasValue() {
					byItem[one.Item] = append(byItem[one.Item], len(b.all)-1)
				}
			}
		}
		for _, group := range byItem {
			bounds := make([]plan.Bound, len(group))
			for i, k := range group {
				bounds[i] = b.all[k].Bound
			}
			govern(bounds)
			for i, k := range group {
				b.all[k].Governs = bounds[i].Governs
			}
		}
	}
	return problems
}

// listOne gives one limit for the car, or for each item of a collection.
func (b *Book) listOne(l at, problems *diag.List) []Listed {
	variable, collections := b.loops(l)
	if variable == "" {
		return b.value(l, b.car.Env(), "", problems)
	}
	var out []Listed
	for _, c := range collections {
		items, _, _ := b.car.Collection(c)
		for _, name := range items {
			env := formula.Bind(b.car.Env(), map[string]formula.Item{variable: {Collection: c, Name: name}})
			out = append(out, b.value(l, env, c+"."+name, problems)...)
		}
	}
	if len(out) == 0 {
		one := l.listed()
		one.NotApplicable = "the car has no " + strings.Join(collections, ", ")
		out = append(out, one)
	}
	return out
}

// listed gives what is known of a limit without its value.
func (l at) listed() Listed {
	var texts []string
	for _, e := range l.limit.Exprs {
		texts = append(texts, e.Text)
	}
	out := Listed{Title: l.set.Title, Edition: l.set.Edition, Status: l.limit.Status, Note: l.limit.Note, At: l.limit.At}
	out.ID, out.Rules, out.Source, out.Method, out.Rule = l.limit.ID, l.set.ID, l.source(), l.limit.Method, l.set.Rule
	out.Kind, out.Formula, out.Stimulus = l.limit.Kind, strings.Join(texts, ", "), l.limit.Stimulus
	return out
}

// value gives a limit for one meaning of its loop variable.
func (b *Book) value(l at, env formula.Env, item string, problems *diag.List) []Listed {
	got := l.bound(env, formula.Want{Any: true})
	problems.Append(got.Problems)
	one := l.listed()
	one.Item = item
	switch {
	case len(got.Bounds) > 0:
		one.Bound = got.Bounds[0]
	case len(got.Missing) > 0:
		one.Missing = got.Missing[0].Message
	case got.Problems.Errors():
		return nil
	default:
		one.NotApplicable = l.limit.AppliesIf.Text + " is false"
	}
	return []Listed{one}
}

// firstWord finds the first words of dotted names in a formula.
var firstWord = regexp.MustCompile(`(?:^|[^\pL\pN_.])([a-z][a-z0-9_]*)\.[a-z*]`)

// loops finds the loop variable that a limit's formulas use, and the
// collections that it can stand for. A limit whose first words are all known,
// or that fits no collection, has none: its faults are then reported as they
// are.
func (b *Book) loops(l at) (variable string, collections []string) {
	known := map[string]bool{}
	for _, f := range vehicle.Fields() {
		first, _, _ := strings.Cut(f.Path, ".")
		known[first] = true
	}
	for _, n := range b.car.Env().Names() {
		first, _, _ := strings.Cut(n, ".")
		known[first] = true
	}
	for _, e := range l.limit.formulas() {
		for _, m := range firstWord.FindAllStringSubmatch(e.Text, -1) {
			if !known[m[1]] {
				variable = m[1]
			}
		}
	}
	if variable == "" {
		return "", nil
	}
	for _, c := range vehicle.Collections() {
		if b.fits(l, variable, c) {
			collections = append(collections, c)
		}
	}
	// "fuse" stands for fuses, though contactors have a breaking capacity too.
	if i := slices.IndexFunc(collections, func(c string) bool { return strings.HasPrefix(c, variable) }); i >= 0 {
		collections = collections[i : i+1]
	}
	if len(collections) == 0 {
		return "", nil
	}
	return variable, collections
}

// fits reports whether all formulas of a limit can be read with the variable
// standing for an item of the collection.
func (b *Book) fits(l at, variable, collection string) bool {
	name := "*"
	if items, _, _ := b.car.Collection(collection); len(items) > 0 {
		name = items[0]
	}
	env := formula.Bind(b.car.Env(), map[string]formula.Item{variable: {Collection: collection, Name: name}})
	for _, e := range l.limit.formulas() {
		want := formula.Want{Any: true, Bool: e == l.limit.AppliesIf}
		if _, problems := formula.Compile(e.Text, e.At, "", env, want); problems.Errors() {
			return false
		}
	}
	return true
}
