package procedure

import (
	"regexp"
	"slices"
	"strconv"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

// A Procedure is one procedure or one block as written, before it is made
// ready for a car.
type Procedure struct {
	ID    string // what other files call it by
	Title string
	Block bool   // a block of steps that procedures include
	Stage string // "A" to "E"; empty for a block

	file   *yamlfile.File
	w      written
	people int
	days   int
	live   bool
	air    bool
}

// A Texts is the file cautions.yaml: the warnings and the protective
// equipment that procedures name.
type Texts struct {
	cautions, protective yamlfile.Map[yamlfile.Scalar]
}

var (
	idPattern   = regexp.MustCompile(`^[a-z0-9_]+$`)
	namePattern = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}$`)
	proofID     = regexp.MustCompile(`^[a-z][a-z0-9_]{0,62}$`)
)

// Stages in their order.
var stages = []string{"A", "B", "C", "D", "E"}

// Parse reads a procedure or a block. It checks all that can be known
// without the car; every fault is in the list. The procedure is nil if the
// file cannot be read as one.
func Parse(f *yamlfile.File) (*Procedure, diag.List) {
	var w written
	problems := f.Decode(&w)
	p := &Procedure{file: f, w: w, people: 1}
	if problems.Errors() {
		// What stands in the wrong place would only give wrong follow-ups.
		return nil, problems
	}
	r := reporter{file: f, list: &problems}
	p.head(&r)
	r.steps(w.Steps)
	r.steps(w.SignOut)
	if problems.Errors() {
		return nil, problems
	}
	return p, problems
}

// head checks everything but the steps.
func (p *Procedure) head(r *reporter) {
	w := &p.w
	if w.Format.Text != "1" {
		r.errorf(w.Format, "this version reads format: 1", "format %q is not known", w.Format.Text)
	}
	id := w.Procedure
	switch {
	case given(w.Procedure) && given(w.Block):
		r.errorf(w.Block, "leave one of them out", "procedure and block at once")
	case given(w.Block):
		id, p.Block = w.Block, true
	case !given(w.Procedure):
		r.errorf(w.Format, "begin with procedure: NAME, or block: NAME", "the file names neither a procedure nor a block")
	}
	if given(id) && !namePattern.MatchString(id.Text) {
		r.errorf(id, "lower-case letters, digits and _, a letter first", "%q is not a name", id.Text)
	}
	p.ID, p.Title = id.Text, w.Title.Text
	if p.Block {
		p.blockHead(r)
		return
	}
	p.Stage = w.Stage.Text
	if !slices.Contains(stages, p.Stage) {
		at, what := w.Stage, "stage %q is not known"
		if !given(at) {
			at, what = id, "no stage%.0s"
		}
		r.errorf(at, "stage: A (packs unplugged), B (low energy), C (first live), D (all packs, drive, charging) or E (use)", what, w.Stage.Text)
	}
	p.live, p.air = r.yes(w.Live, "live"), r.yes(w.Ambient, "ambient")
	if w.People != nil {
		p.people = r.count(w.People.Least, 1, 20)
	}
	if w.HoldsFor != nil {
		p.days = r.count(w.HoldsFor.Days, 1, 36500)
	}
	for _, key := range w.Proves.Keys() {
		if !proofID.MatchString(key.Text) {
			r.errorf(key, "lower-case letters, digits and _, a letter first", "%q is not a name of a proof", key.Text)
		}
		if parts, _ := w.Proves.Get(key.Text); len(parts) == 0 {
			r.errorf(key, "list the parts, such as [dc_link, \"contactors.*\"]", "the proof %s is about no part", key.Text)
		}
	}
	for _, s := range w.MakeSafe {
		if s.Text == "" {
			r.errorf(s, "one sentence for each action", "an empty make-safe action")
		}
	}
}

// blockHead refuses the keys that only a procedure has.
func (p *Procedure) blockHead(r *reporter) {
	w := &p.w
	scalars := map[string]yamlfile.Scalar{
		"stage": w.Stage, "live": w.Live, "ambient": w.Ambient, "applies_if": w.AppliesIf,
	}
	for _, name := range []string{"stage", "live", "ambient", "applies_if"} {
		if s := scalars[name]; given(s) {
			r.errorf(s, "put it into the procedures that include the block", "a block has no %s", name)
		}
	}
	lists := map[string]bool{
		"proves": w.Proves.Len() > 0, "holds_for": w.HoldsFor != nil, "people": w.People != nil,
		"prerequisites": len(w.Prerequisites) > 0, "protective": len(w.Protective) > 0,
		"state": w.State.Len() > 0, "make_safe": len(w.MakeSafe) > 0, "sign_out": len(w.SignOut) > 0,
	}
	for _, name := range []string{"proves", "holds_for", "people", "prerequisites", "protective", "state", "make_safe", "sign_out"} {
		if lists[name] {
			r.errorf(w.Block, "put it into the procedures that include the block", "a block has no %s", name)
		}
	}
}

// ParseTexts reads cautions.yaml.
func ParseTexts(f *yamlfile.File) (*Texts, diag.List) {
	var w struct {
		Format     yamlfile.Scalar               `yaml:"format" validate:"required"`
		Cautions   yamlfile.Map[yamlfile.Scalar] `yaml:"cautions"`
		Protective yamlfile.Map[yamlfile.Scalar] `yaml:"protective"`
	}
	problems := f.Decode(&w)
	r := reporter{file: f, list: &problems}
	if given(w.Format) && w.Format.Text != "1" {
		r.errorf(w.Format, "this version reads format: 1", "format %q is not known", w.Format.Text)
	}
	for _, m := range []yamlfile.Map[yamlfile.Scalar]{w.Cautions, w.Protective} {
		for _, key := range m.Keys() {
			if !namePattern.MatchString(key.Text) {
				r.errorf(key, "lower-case letters, digits and _, a letter first", "%q is not a name", key.Text)
			}
			if text, _ := m.Get(key.Text); text.Text == "" {
				r.errorf(key, "write the sentence that is shown", "%s has no text", key.Text)
			}
		}
	}
	if problems.Errors() {
		return nil, problems
	}
	return &Texts{cautions: w.Cautions, protective: w.Protective}, problems
}

// Proves gives the ids of the proofs that the procedure gives, in file order.
func (p *Procedure) Proves() []string { return texts(p.w.Proves.Keys()) }

// Prerequisites gives the ids of the proofs that must hold before.
func (p *Procedure) Prerequisites() []string { return texts(p.w.Prerequisites) }

// Place gives where the procedure's name stands.
func (p *Procedure) Place() diag.Place {
	if p.Block {
		return p.w.Block.At
	}
	return p.w.Procedure.At
}

func texts(s []yamlfile.Scalar) []string {
	var out []string
	for _, v := range s {
		out = append(out, v.Text)
	}
	return out
}

// given reports whether the key stands in the file.
func given(s yamlfile.Scalar) bool { return s.Given() }

// reporter writes problems of one file into a list.
type reporter struct {
	file *yamlfile.File
	list *diag.List
}

func (r *reporter) errorf(at yamlfile.Scalar, hint, format string, a ...any) {
	r.list.Add(r.file.At(at, hint, format, a...))
}

func (r *reporter) warnf(at yamlfile.Scalar, hint, format string, a ...any) {
	p := r.file.At(at, hint, format, a...)
	p.Severity = diag.Warning
	r.list.Add(p)
}

// yes reads a key that is true or false.
func (r *reporter) yes(s yamlfile.Scalar, name string) bool {
	if given(s) && s.Text != "true" && s.Text != "false" {
		r.errorf(s, "write true or false", "%s: %q is neither true nor false", name, s.Text)
	}
	return s.Text == "true"
}

func (r *reporter) count(s yamlfile.Scalar, least, most int) int {
	n, err := strconv.Atoi(s.Text)
	if err != nil || n < least || n > most {
		r.errorf(s, "a whole number from "+strconv.Itoa(least)+" to "+strconv.Itoa(most), "%q is not a count", s.Text)
		return least
	}
	return n
}
