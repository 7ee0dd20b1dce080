package procedure

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/deskcheck"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// maxTurns bounds the turns of all loops of one procedure, also of those
// that add no step.
const maxTurns = 10 * plan.MaxSteps

// A walk makes one procedure ready for one car.
type walk struct {
	lib     *Library
	car     *vehicle.Vehicle
	env     *deskcheck.Names
	book    *rules.Book
	plan    *plan.Plan
	index   map[string]int // path → step
	origins []origin       // of each step
	turns   int
	full    bool
	faults  faults
	faulty  Faulty
	draft   bool // a compute step whose value is missing does not apply
}

// origin is where a step was written.
type origin struct {
	file *yamlfile.File
	at   yamlfile.Scalar
	env  formula.Env // the values there, with the loops' items
}

// scope is what holds around a list of steps.
type scope struct {
	file     *yamlfile.File
	env      formula.Env
	items    map[string]formula.Item // loop variables
	turns    []string                // of the loops around, outermost first, as beginnings of paths
	prefixes []string                // of paths, outermost first; the last is the current one
	state    []plan.State
	parts    []string
	cautions []yamlfile.Scalar // of the block
	reason   string            // why what is here does not apply, or empty
	blocks   []string          // being included
	signOut  bool
}

func (sc *scope) prefix() string { return sc.prefixes[len(sc.prefixes)-1] }

// inside gives the scope of what stands below one more path segment.
func (sc scope) inside(segment string) scope {
	sc.prefixes = append(slices.Clip(sc.prefixes), sc.prefix()+segment+".")
	return sc
}

// list unrolls a list of steps.
func (w *walk) list(steps []step, sc scope) {
	for i := range steps {
		s := &steps[i]
		switch {
		case w.full:
			return
		case given(s.ForEvery):
			w.loop(s, sc)
		case given(s.Include):
			w.include(s, sc)
		default:
			w.step(s, sc)
		}
	}
}

func (w *walk) loop(s *step, sc scope) {
	collection, called := s.ForEvery.Text, s.Called.Text
	items, _, ok := w.car.Collection(collection)
	if !ok {
		w.errorf(sc, s.ForEvery, nearest(collection, vehicle.Collections()), "there is no collection %q", collection)
		return
	}
	if _, taken := sc.items[called]; taken {
		w.errorf(sc, s.Called, "another name", "the loop around this one uses %q, too", called)
		return
	}
	if w.isFirstSegment(called) {
		w.errorf(sc, s.Called, "another name", "%q is a section of vehicle.yaml", called)
		return
	}
	if len(items) == 0 {
		w.emptyLoop(s, sc)
		return
	}
	for _, name := range items {
		if w.turns++; w.turns > maxTurns {
			w.tooMany(sc, s.ForEvery)
		}
		if w.full {
			return
		}
		in := sc.inside(name)
		in.items = maps.Clone(sc.items)
		in.turns = append(slices.Clip(sc.turns), strings.TrimSuffix(in.prefix(), "."))
		in.items[called] = formula.Item{Collection: collection, Name: name}
		in.env = formula.Bind(w.env, in.items)
		w.applies(&in, s.AppliesIf)
		w.list(s.Steps, in)
	}
}

// emptyLoop takes a loop over nothing. It must not vanish: a matrix without
// rows would pass. Only a condition that says so may take it away, and then
// one line says why.
func (w *walk) emptyLoop(s *step, sc scope) {
	w.applies(&sc, s.AppliesIf)
	if sc.reason == "" {
		w.lack(sc, s.ForEvery, "write its items into vehicle.yaml, or give the loop applies_if: has("+s.ForEvery.Text+")",
			"the loop is over nothing: the car has no %s", s.ForEvery.Text)
		return
	}
	w.add(plan.Step{
		Path: sc.prefix() + s.Called.Text, Kind: plan.Confirm, Text: "Every item of " + s.ForEvery.Text + ".",
		NotApplicable: sc.reason, Items: sc.turns, IfFailed: plan.Stop,
	}, sc, s.ForEvery)
}

func (w *walk) include(s *step, sc scope) {
	id := s.Include.Text
	b, ok := w.lib.block(id)
	if !ok && w.faulty.Procedures {
		return
	}
	if !ok {
		hint := nearest(id, w.lib.blockIDs())
		if _, is := w.lib.Procedure(id); is {
			hint = "it is a procedure; only a file that begins with block: can be included"
		}
		w.errorf(sc, s.Include, hint, "there is no block %q", id)
		return
	}
	if slices.Contains(sc.blocks, id) {
		w.errorf(sc, s.Include, "take one of the includes out", "the block includes itself: %s", strings.Join(append(sc.blocks, id), ", "))
		return
	}
	if len(sc.blocks) >= maxNesting {
		w.errorf(sc, s.Include, fmt.Sprintf("at most %d", maxNesting), "blocks stand too deep in each other")
		return
	}
	in := sc.inside(s.ID.Text)
	w.applies(&in, s.AppliesIf)
	in.state = w.state(sc, sc.state, s.State)
	if s.Part != nil {
		in.parts = w.parts(sc, s.Part)
	}
	in.blocks = append(slices.Clip(sc.blocks), id)
	in.cautions = append(slices.Clip(sc.cautions), b.w.Cautions...)
	in.file = b.file
	w.list(b.w.Steps, in)
}

// applies settles a condition; if it does not hold, the scope says why.
func (w *walk) applies(sc *scope, condition yamlfile.Scalar) {
	if !given(condition) || sc.reason != "" {
		return
	}
	res, ok := w.eval(*sc, condition, formula.Want{Bool: true})
	switch {
	case !ok:
	case res.Bool == nil:
		w.warnf(*sc, condition, "compare values without a tolerance",
			"neither true nor false over the tolerances: %s; what it stands at is done", res.Substituted)
	case !*res.Bool:
		sc.reason = falsehood(res)
	}
}

// falsehood words a condition that does not hold, "has(pyro) = false".
func falsehood(res formula.Result) string {
	if !strings.ContainsAny(res.Substituted, "0123456789") || res.Substituted == res.Formula {
		return res.Formula + " = false"
	}
	return res.Formula + ": " + res.Substituted + " = false"
}

// add puts a step into the plan.
func (w *walk) add(s plan.Step, sc scope, at yamlfile.Scalar) {
	if w.full {
		return
	}
	if len(w.plan.Steps) >= plan.MaxSteps {
		w.tooMany(sc, at)
		return
	}
	if i, taken := w.index[s.Path]; taken {
		w.errorf(sc, at, "another id", "two steps have the path %s; the other one is at %s", s.Path, w.origins[i].at.At)
		return
	}
	w.index[s.Path] = len(w.plan.Steps)
	w.plan.Steps = append(w.plan.Steps, s)
	w.origins = append(w.origins, origin{sc.file, at, sc.env})
}

func (w *walk) tooMany(sc scope, at yamlfile.Scalar) {
	w.full = true
	w.errorf(sc, at, "divide the procedure", "the procedure has more than %d steps for this car", plan.MaxSteps)
}

// isFirstSegment reports whether a formula's name can begin with the word.
func (w *walk) isFirstSegment(word string) bool {
	return slices.ContainsFunc(w.env.Names(), func(name string) bool {
		first, _, _ := strings.Cut(name, ".")
		return first == word
	})
}

var loopName = regexp.MustCompile(`\{[^{}]*\}`)

// fill puts the items' names in for {device}.
func (w *walk) fill(sc scope, s yamlfile.Scalar) string {
	return loopName.ReplaceAllStringFunc(s.Text, func(word string) string {
		name := word[1 : len(word)-1]
		item, ok := sc.items[name]
		if !ok {
			w.errorf(sc, s, nearest(name, slices.Sorted(maps.Keys(sc.items))), "there is no loop called %q around this step", name)
			return word
		}
		return item.Name
	})
}

func (w *walk) fillAll(sc scope, list []yamlfile.Scalar) []string {
	var out []string
	for _, s := range list {
		out = append(out, w.fill(sc, s))
	}
	return out
}

// state lays a step's own states over those of its surroundings.
func (w *walk) state(sc scope, around []plan.State, own yamlfile.Map[yamlfile.Scalar]) []plan.State {
	out := slices.Clone(around)
	for _, k := range own.Keys() {
		v, _ := own.Get(k.Text)
		st := plan.State{Name: w.fill(sc, k), Value: w.fill(sc, v)}
		if st.Value == "" || strings.ContainsAny(st.Name, " \t") || st.Name == "" {
			w.errorf(sc, k, "a name without spaces and a word, such as packs: in", "%q is not a state", k.Text)
			continue
		}
		i := slices.IndexFunc(out, func(o plan.State) bool { return o.Name == st.Name })
		if i >= 0 {
			out[i] = st
		} else {
			out = append(out, st)
		}
	}
	return out
}

// parts gives the parts that a step names, each once.
func (w *walk) parts(sc scope, n *yamlfile.Node) []string {
	var out []string
	list, _ := scalars(n) // checked by Parse
	for _, s := range list {
		for _, part := range w.part(sc, s) {
			if !slices.Contains(out, part) {
				out = append(out, part)
			}
		}
	}
	return out
}

// part gives the parts that one name stands for: "contactors.*" for all of
// them, the name of a loop for its item.
func (w *walk) part(sc scope, s yamlfile.Scalar) []string {
	name := w.fill(sc, s)
	first, rest, _ := strings.Cut(name, ".")
	if item, ok := sc.items[first]; ok {
		name = item.Collection + "." + item.Name
		if rest != "" {
			name += "." + rest
		}
	}
	if collection, ok := strings.CutSuffix(name, ".*"); ok {
		items, _, isOne := w.car.Collection(collection)
		if !isOne {
			return w.wildcard(sc, s, collection)
		}
		if len(items) == 0 {
			w.lack(sc, s, "write its items into vehicle.yaml", "the car has no %s", collection)
		}
		var out []string
		for _, item := range items {
			part, _ := w.car.Part(collection + "." + item)
			out = append(out, part)
		}
		return out
	}
	part, ok := w.car.Part(name)
	if ok {
		return []string{part}
	}
	if v, known := w.env.Resolve(name); known && v.Absent != "" {
		w.lack(sc, s, "write it into vehicle.yaml, or use applies_if: has("+name+")", "the car has no %s", name)
		return []string{name}
	}
	if !w.faulty.Car {
		w.errorf(sc, s, nearest(name, w.car.Parts()), "the car has no part %q", name)
	}
	return nil
}

// wildcard matches a prefix that is not a collection, such as "bonding".
func (w *walk) wildcard(sc scope, s yamlfile.Scalar, prefix string) []string {
	var out []string
	for _, part := range w.car.Parts() {
		if after, ok := strings.CutPrefix(part, prefix+"."); ok && !strings.Contains(after, ".") {
			out = append(out, part)
		}
	}
	if out == nil {
		w.lack(sc, s, nearest(prefix, vehicle.Collections()), "no part of the car matches %q", s.Text)
	}
	return out
}

// scalars gives the entries of a key that takes one word or a list; ok is
// false if it holds something else.
func scalars(n *yamlfile.Node) (out []yamlfile.Scalar, ok bool) {
	if n == nil {
		return nil, true
	}
	items := []*yamlfile.Node{n}
	if n.Kind() == yamlfile.ListKind {
		items = n.Items()
	}
	for _, item := range items {
		if item.Kind() != yamlfile.TextKind || item.Text() == "" {
			return out, false
		}
		out = append(out, item.Scalar())
	}
	return out, len(out) > 0
}
