package formula

import "strings"

// Item is what a loop variable stands for: an item of a collection.
type Item struct{ Collection, Name string }

// Bind returns an Env in which the loop variables have meaning: as the first
// word of a name, variable "device" means COLLECTION.ITEM; as a later word it
// means ITEM, so that "device.opens.contactor" uses two loops at once.
func Bind(env Env, loop map[string]Item) Env {
	if len(loop) == 0 {
		return env
	}
	return loopEnv{env, loop}
}

// loopEnv is an Env with loop variables.
type loopEnv struct {
	env  Env
	loop map[string]Item
}

// path replaces the loop variables in a dotted name.
func (b loopEnv) path(name string) string {
	words := strings.Split(name, ".")
	for i, w := range words {
		item, ok := b.loop[w]
		switch {
		case ok && i == 0:
			words[i] = item.Collection + "." + item.Name
		case ok:
			words[i] = item.Name
		}
	}
	return strings.Join(words, ".")
}

func (b loopEnv) Resolve(name string) (Var, bool) {
	path := b.path(name)
	v, ok := b.env.Resolve(path)
	if ok && v.Name == "" {
		v.Name = path
	}
	return v, ok
}

func (b loopEnv) Match(pattern string) []string { return b.env.Match(b.path(pattern)) }

// Names returns the names of the Env beneath, and before them the same names
// as the loop variables spell them.
func (b loopEnv) Names() []string {
	var names []string
	for _, n := range b.env.Names() {
		for loop, item := range b.loop {
			if rest, ok := strings.CutPrefix(n, item.Collection+"."+item.Name+"."); ok {
				names = append(names, loop+"."+rest)
			}
		}
	}
	return append(names, b.env.Names()...)
}
