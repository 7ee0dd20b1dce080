package formula

import (
	"sync"
	"unicode/utf8"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// Formula is a compiled formula over the values of one car. It does not
// change and may be used from several goroutines.
type Formula struct {
	text     string
	at       diag.Place
	line     string
	program  *program
	root     int32
	dim      quantity.Dim
	truth    bool
	mentions []mention
	choices  []choice
	shown    func() string // the result as explanations of others show it
}

// Compile checks a formula and puts the car's values in. src is its text; at
// is the place of its first character and source the line of the file, for
// messages with a caret. All faults of names and dimensions are reported, of
// faults of spelling the first; the Formula is nil if there is any.
func Compile(src string, at diag.Place, source string, env Env, want Want) (*Formula, diag.List) {
	f := &Formula{text: src, at: at, line: source, program: newProgram()}
	var problems diag.List
	t, x := parse(src)
	if x != nil {
		x.from, x.to = min(x.from, len(src)), min(x.to, len(src))
		problems.Add(f.problem(*x))
		return nil, problems
	}
	c := &checker{f: f, env: env, derived: map[*Formula]int32{}}
	result := c.check(t)
	if !result.bad {
		c.wanted(t, result, want)
	}
	if len(c.faults) == 0 && f.program.full {
		c.fail(t.from, t.to, "break it up", "more than %d operations once derived values are put in", MaxOperations)
	}
	if len(c.faults) == 0 {
		c.bounded(t)
	}
	for _, x := range c.faults {
		problems.Add(f.problem(x))
	}
	if len(problems) > 0 {
		return nil, problems
	}
	f.root, f.dim, f.truth = result.node, result.dim, result.truth
	f.mentions, f.choices = c.mentions, c.choices
	f.shown = sync.OnceValue(f.value)
	return f, nil
}

// Text returns the formula as written.
func (f *Formula) Text() string { return f.text }

// Place returns where the formula stands.
func (f *Formula) Place() diag.Place { return f.at }

// Dim returns the dimension of the result; it is that of a plain number for a
// condition.
func (f *Formula) Dim() quantity.Dim { return f.dim }

// IsBool says whether the formula is a condition.
func (f *Formula) IsBool() bool { return f.truth }

// Uses returns the paths of all values of the car that the formula, with its
// derived values, could need in any of its branches, present or absent.
func (f *Formula) Uses() []string {
	var names []string
	for _, in := range f.program.inputs {
		if !in.part {
			names = append(names, in.name)
		}
	}
	return names
}

func runes(s string) int { return utf8.RuneCountInString(s) }
