package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
	"hvproof/internal/yamlfile"
)

// An answersFile is what a person would have typed.
type answersFile struct {
	name        string
	people      map[string]string // operator, witness, releaser
	instruments map[string]string // role to instrument
	answers     map[string][]given
	keys        []yamlfile.Scalar
}

// given is one answer.
type given struct {
	run.Answer
	place diag.Place
}

// answersShape is the file as written.
type answersShape struct {
	People      yamlfile.Map[yamlfile.Scalar] `yaml:"people"`
	Instruments yamlfile.Map[yamlfile.Scalar] `yaml:"instruments"`
	Answers     yamlfile.Map[*yamlfile.Node]  `yaml:"answers"`
}

// answerShape is one answer with more than its text.
type answerShape struct {
	Read    yamlfile.Scalar `yaml:"read" validate:"required"`
	Confirm bool            `yaml:"confirm"`
	Reason  string          `yaml:"reason"`
	Cause   string          `yaml:"cause"`
	Range   string          `yaml:"range"`
	Divided yamlfile.Scalar `yaml:"division"`
	ReadAt  string          `yaml:"read_at"`
}

// readAnswers reads an answers file; all its faults are in the error.
func readAnswers(path string) (*answersFile, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, diag.Bad("", "answers: %v", err)
	}
	defer f.Close()
	return parseAnswers(path, f)
}

func parseAnswers(name string, r io.Reader) (*answersFile, error) {
	file, faults := yamlfile.Read(name, r)
	if faults.Errors() {
		return nil, badAnswers(faults)
	}
	var shape answersShape
	if faults = file.Decode(&shape); faults.Errors() {
		return nil, badAnswers(faults)
	}
	a := &answersFile{name: name, people: map[string]string{}, instruments: map[string]string{}, answers: map[string][]given{}}
	for _, k := range shape.People.Keys() {
		v, _ := shape.People.Get(k.Text)
		if k.Text != "operator" && k.Text != "witness" && k.Text != "releaser" {
			faults.Errorf(k.At, "use operator, witness or releaser", "%q is not a role in a run", k.Text)
		}
		a.people[k.Text] = v.Text
	}
	for _, k := range shape.Instruments.Keys() {
		v, _ := shape.Instruments.Get(k.Text)
		a.instruments[k.Text] = v.Text
	}
	for _, k := range shape.Answers.Keys() {
		n, _ := shape.Answers.Get(k.Text)
		list, l := answerList(file, n)
		faults.Append(l)
		a.answers[k.Text] = list
		a.keys = append(a.keys, k)
	}
	if faults.Errors() {
		return nil, badAnswers(faults)
	}
	return a, nil
}

// answerList reads one answer or a list of successive ones.
func answerList(f *yamlfile.File, n *yamlfile.Node) ([]given, diag.List) {
	nodes := []*yamlfile.Node{n}
	if n.Kind() == yamlfile.ListKind {
		nodes = n.Items()
	}
	var out []given
	var faults diag.List
	for _, item := range nodes {
		g := given{place: item.Place()}
		if item.Kind() == yamlfile.MapKind {
			var s answerShape
			faults.Append(item.Decode(f, &s))
			g.Answer = run.Answer{Text: s.Read.Text, Confirm: s.Confirm, Reason: s.Reason, Cause: s.Cause, Range: s.Range, Division: s.Divided.Text, ReadAt: s.ReadAt}
		} else {
			g.Text = item.Text()
		}
		out = append(out, g)
	}
	return out, faults
}

func badAnswers(faults diag.List) error {
	faults.Sort()
	return &diag.Error{Class: diag.ClassBadInput, Message: strings.TrimRight(problemLines(faults), "\n"), Problems: faults}
}

// check refuses answers that no step of the plan can take: unknown paths,
// and readings that are not of the step's dimension.
func (a *answersFile) check(p *plan.Plan) error {
	known := []string{"run:ambient", "resume:state"}
	for i := range p.Steps {
		path := p.Steps[i].Path
		known = append(known, path, path+":state", path+":caution", path+":range", path+":witness", path+":again")
		if len(p.Steps[i].Heats) > 0 {
			known = append(known, path+":cool")
		}
	}
	isKnown := map[string]bool{}
	for _, k := range known {
		isKnown[k] = true
	}
	var faults diag.List
	for _, k := range a.keys {
		if !isKnown[k.Text] {
			hint := "see the steps with: hvproof plan " + p.Procedure
			if near, ok := diag.Nearest(k.Text, known); ok {
				hint = "did you mean " + near + "?"
			}
			faults.Errorf(k.At, hint, "%s has no step %q", p.Procedure, k.Text)
			continue
		}
		i, ok := p.Step(k.Text)
		if !ok || (p.Steps[i].Kind != plan.Measure && p.Steps[i].Kind != plan.Time) {
			continue
		}
		for _, g := range a.answers[k.Text] {
			if _, err := run.ParseTyped(g.Text, p.Steps[i].Dim); err != nil {
				hint := ""
				if s, ok := err.(*quantity.SyntaxError); ok {
					hint = s.Hint
				}
				faults.Errorf(g.place, hint, "%s: %v", k.Text, err)
			}
		}
	}
	if faults.Errors() {
		return badAnswers(faults)
	}
	return nil
}

// answersDriver drives a run from an answers file.
type answersDriver struct {
	app  *app
	file *answersFile
	used map[string]int
	cut  bool // the plan is cut down, and the file may be of the whole procedure
}

// errNoAnswer says that the file has no answer to what is asked.
type errNoAnswer struct{ key, why string }

func (e *errNoAnswer) Error() string { return e.key + ": " + e.why }

func (d *answersDriver) next(key string) (given, bool) {
	list := d.file.answers[key]
	n := d.used[key]
	if n >= len(list) {
		return given{}, false
	}
	d.used[key]++
	return list[n], true
}

func (d *answersDriver) left(key string) bool { return d.used[key] < len(d.file.answers[key]) }

// answer gives the file's answer to a prompt.
func (d *answersDriver) answer(p run.Prompt) (run.Answer, error) {
	switch p.Kind {
	case run.AskAgain:
		return d.again(p)
	case run.AskWitness:
		if g, ok := d.next(p.Key); ok {
			return g.Answer, nil
		}
		return run.Answer{Text: run.Seen}, nil
	case run.AskRelease:
		p.Key = p.Step.Path
	}
	g, ok := d.next(p.Key)
	if !ok && d.cut {
		g, ok = d.elsewhere(p)
	}
	if !ok && strings.HasSuffix(p.Key, ":cool") { // practice or rehearsal: nothing is hot but in the record
		return run.Answer{Text: quantity.Value{SI: math.Ceil(p.Need.Seconds()), Dim: quantity.Second}.String()}, nil
	}
	if !ok {
		return run.Answer{}, &errNoAnswer{p.Key, "no answer in " + d.file.name}
	}
	if p.Kind == run.AskReading && g.Range == "" && d.left(p.Key+":range") {
		r, _ := d.next(p.Key + ":range")
		g.Range = r.Text
	}
	return g.Answer, nil
}

// elsewhere gives, for a plan that is cut down, what the file of the whole
// procedure says of the same cautions or of the same state of the car at a
// step that was cut away.
func (d *answersDriver) elsewhere(p run.Prompt) (given, bool) {
	suffix := map[run.PromptKind]string{run.AskCaution: ":caution", run.AskState: ":state"}[p.Kind]
	if suffix == "" {
		return given{}, false
	}
	for _, k := range d.file.keys {
		if !strings.HasSuffix(k.Text, suffix) {
			continue
		}
		for _, g := range d.file.answers[k.Text] {
			says := true
			for _, s := range p.State {
				says = says && strings.Contains(g.Text, s.Name+": "+s.Value)
			}
			if says {
				return g, true
			}
		}
	}
	return given{}, false
}

// again goes on with the next answer of a list, or leaves the step failed
// where the list has ended. A computed step has the lists of its inputs.
func (d *answersDriver) again(p run.Prompt) (run.Answer, error) {
	paths := []string{p.Step.Path}
	for _, a := range p.Step.From {
		if a.Step != "" {
			paths = append(paths, a.Step)
		}
	}
	for _, path := range paths {
		if !d.left(path) {
			continue
		}
		g := d.file.answers[path][d.used[path]]
		cause := g.Cause
		if cause == "" {
			cause = g.Reason
		}
		if p.NeedCause && strings.TrimSpace(cause) == "" {
			return run.Answer{}, &errNoAnswer{p.Key, "a third attempt needs a written cause: {read: …, cause: …}"}
		}
		return run.Answer{Again: true, Reason: g.Reason, Cause: g.Cause}, nil
	}
	return run.Answer{Decline: true, Reason: "no further answer in " + d.file.name}, nil
}

// confirm answers what is asked back: only what the file confirms.
func (d *answersDriver) confirm(p run.Prompt, a run.Answer, back *run.AskBack) (run.Answer, error) {
	return a, &errNoAnswer{p.Key, fmt.Sprintf("%q would be asked back (%s); confirm it with {read: %s, confirm: true}", a.Text, strings.Join(back.Questions, " "), a.Text)}
}

// refused ends the run for now: the file's answer cannot be taken.
func (d *answersDriver) refused(p run.Prompt, a run.Answer, r *run.Refused) error {
	at := d.file.name
	if n := d.used[p.Key]; n > 0 {
		pl := d.file.answers[p.Key][n-1].place
		at = fmt.Sprintf("%s:%d:%d", pl.File, pl.Line, pl.Column)
	}
	return diag.Bad(r.Hint, "%s: %s: %s", at, p.Key, r.Message)
}

// recorded has nothing to add: drive says what was recorded.
func (d *answersDriver) recorded(run.Prompt, int64, string) {}

// passphrase asks at the terminal: an unattended run outside a practice
// folder is a rehearsal by somebody who is there.
func (d *answersDriver) passphrase(person string) ([]byte, error) { return d.app.passphrase(person) }
