package rework

import (
	"regexp"
	"slices"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/yamlfile"
)

// A Book is the rules of a rework file.
type Book struct {
	tests map[string][]string // short name: proofs
	order []string            // short names in file order
	every []verdict
	stand []verdict
	works []Work
}

// A Work is one kind of work on the HV system, or one event.
type Work struct {
	ID, Title string
	Parts     []string // what may be chosen: collections ("contactors"), parts, or "any"
	also      []string
	rest      string // why a test that is not named stands; empty: it is void where the lists meet
	verdicts  []verdict
	only      map[string][]string
}

// What Work.Parts may hold beside collections and parts.
const (
	Any        = "any"        // any part of the car
	None       = "none"       // the work touches no part
	Everything = "everything" // all parts are touched
)

// Touches reports whether the word stands among what may be chosen.
func (w Work) Touches(word string) bool { return slices.Contains(w.Parts, word) }

// A verdict is what a work does to one test.
type verdict struct {
	test, reason string
	kind         Kind
}

// A Kind says what work does to a test.
type Kind string

// The kinds of a verdict.
const (
	Void Kind = "void" // must be done again
	Path Kind = "path" // only where the touched part lies in the test's path or box
	Keep Kind = "keep" // stands
)

type (
	bookShape struct {
		Format string                          `yaml:"format" validate:"required,oneof=1"`
		Tests  yamlfile.Map[[]yamlfile.Scalar] `yaml:"tests" validate:"required"`
		Every  yamlfile.Map[yamlfile.Scalar]   `yaml:"every_hv_part"`
		Stand  yamlfile.Map[yamlfile.Scalar]   `yaml:"stands"`
		Work   yamlfile.Map[workShape]         `yaml:"work" validate:"required"`
	}
	workShape struct {
		Title string                          `yaml:"title" validate:"required"`
		Parts []yamlfile.Scalar               `yaml:"parts" validate:"required"`
		Also  []yamlfile.Scalar               `yaml:"also"`
		Rest  string                          `yaml:"rest"`
		Void  yamlfile.Map[yamlfile.Scalar]   `yaml:"void"`
		Path  yamlfile.Map[yamlfile.Scalar]   `yaml:"path"`
		Keep  yamlfile.Map[yamlfile.Scalar]   `yaml:"keep"`
		Only  yamlfile.Map[[]yamlfile.Scalar] `yaml:"only"`
	}
)

var id = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)

// Parse reads a rework file; the list holds every fault of it.
func Parse(f *yamlfile.File) (*Book, diag.List) {
	var shape bookShape
	faults := f.Decode(&shape)
	b := &Book{tests: map[string][]string{}}
	for _, k := range shape.Tests.Keys() {
		proofs, _ := shape.Tests.Get(k.Text)
		b.order = append(b.order, k.Text)
		b.tests[k.Text] = words(proofs)
	}
	p := parser{f, &faults, b}
	b.every = p.verdicts(shape.Every, Void)
	b.stand = p.verdicts(shape.Stand, Keep)
	for _, k := range shape.Work.Keys() {
		s, _ := shape.Work.Get(k.Text)
		if !id.MatchString(k.Text) {
			faults.Add(f.At(k, "use small letters, digits and _, such as contactor_swapped", "%q is not the name of a work", k.Text))
		}
		b.works = append(b.works, p.work(k.Text, s))
	}
	return b, faults
}

type parser struct {
	f      *yamlfile.File
	faults *diag.List
	book   *Book
}

func (p parser) work(name string, s workShape) Work {
	w := Work{ID: name, Title: s.Title, Parts: words(s.Parts), also: words(s.Also), rest: s.Rest, only: map[string][]string{}}
	seen := map[string]bool{}
	for _, of := range []struct {
		kind Kind
		m    yamlfile.Map[yamlfile.Scalar]
	}{{Void, s.Void}, {Path, s.Path}, {Keep, s.Keep}} {
		for _, v := range p.verdicts(of.m, of.kind) {
			if seen[v.test] {
				k, _ := of.m.Get(v.test)
				p.faults.Add(p.f.At(k, "say one of void, path and keep", "%s: %s stands twice", name, v.test))
			}
			seen[v.test] = true
			w.verdicts = append(w.verdicts, v)
		}
	}
	for _, k := range s.Only.Keys() {
		p.test(k)
		if !slices.ContainsFunc(w.verdicts, func(v verdict) bool { return v.test == k.Text && v.kind != Keep }) {
			p.faults.Add(p.f.At(k, "write it under void or path as well", "%s: only %s, which is not void", name, k.Text))
		}
		parts, _ := s.Only.Get(k.Text)
		w.only[k.Text] = words(parts)
	}
	return w
}

func (p parser) verdicts(m yamlfile.Map[yamlfile.Scalar], kind Kind) []verdict {
	var out []verdict
	for _, k := range m.Keys() {
		p.test(k)
		reason, _ := m.Get(k.Text)
		if strings.TrimSpace(reason.Text) == "" {
			p.faults.Add(p.f.At(k, "say why", "%s has no reason", k.Text))
		}
		out = append(out, verdict{k.Text, reason.Text, kind})
	}
	return out
}

// test refuses a short name that tests does not explain.
func (p parser) test(k yamlfile.Scalar) {
	if _, ok := p.book.tests[k.Text]; ok {
		return
	}
	hint := "write it under tests: with the proofs that it stands for"
	if near, ok := diag.Nearest(k.Text, p.book.order); ok {
		hint = "did you mean " + near + "?"
	}
	p.faults.Add(p.f.At(k, hint, "there is no test %q", k.Text))
}

func words(list []yamlfile.Scalar) []string {
	var out []string
	for _, s := range list {
		out = append(out, s.Text)
	}
	return out
}

// Works gives the kinds of work in file order.
func (b *Book) Works() []Work { return slices.Clone(b.works) }

// Work gives the kind of work with the id.
func (b *Book) Work(name string) (Work, bool) {
	i := slices.IndexFunc(b.works, func(w Work) bool { return w.ID == name })
	if i < 0 {
		return Work{}, false
	}
	return b.works[i], true
}

// Tests gives the short names of tests in file order.
func (b *Book) Tests() []string { return slices.Clone(b.order) }

// Proofs gives the proofs that a short name stands for.
func (b *Book) Proofs(test string) []string { return slices.Clone(b.tests[test]) }

// testOf gives the short names that stand for a proof.
func (b *Book) testOf(proof string) []string {
	var out []string
	for _, t := range b.order {
		if slices.Contains(b.tests[t], proof) {
			out = append(out, t)
		}
	}
	return out
}
