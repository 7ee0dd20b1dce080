package rework

import (
	"slices"
	"strings"
)

// A Car tells where the parts of a car are. vehicle.Vehicle is one.
type Car interface {
	Parts() []string
	Text(path string) string // "contactors.left_plus.pack"
}

// A Proof is a proof of the car with all parts that its steps are about.
type Proof struct {
	ID    string
	Parts []string
}

// An Effect is what a work does to one proof.
type Effect struct {
	Proof  string
	Kept   bool     // the lists meet, and it stands all the same
	Parts  []string // what of it is to be repeated; empty: all of it
	Reason string
}

// Whole is the part that stands for the whole HV system, as in vehicle.
const Whole = "whole"

// Effects gives what a work on the parts, which are names of parts of the
// car, does to each proof. Proofs that stand without the lists meeting are
// left out. A work that the book does not have goes by the parts alone. No
// parts are all parts, unless the work touches none: unknown counts as touched.
func (b *Book) Effects(car Car, work string, parts []string, proofs []Proof) []Effect {
	w, _ := b.Work(work)
	t := touch{car: car, parts: parts}
	if len(parts) == 0 && !w.Touches(None) || w.Touches(Everything) {
		t.parts = []string{Whole}
	}
	t.hv = slices.ContainsFunc(t.parts, IsHV)
	for _, part := range w.also {
		if slices.Contains(car.Parts(), part) {
			t.also = append(t.also, part)
		}
	}
	var out []Effect
	for _, p := range proofs {
		if e, ok := b.effect(w, t, p, proofs); ok {
			e.Proof = p.ID
			out = append(out, e)
		}
	}
	return out
}

// effect gives the heaviest verdict on a proof; ok is false where nothing is
// said of it and nothing met.
func (b *Book) effect(w Work, t touch, p Proof, proofs []Proof) (Effect, bool) {
	tests := b.testOf(p.ID)
	for _, kind := range []Kind{Void, Path, Keep} {
		for _, v := range w.verdicts {
			if v.kind != kind || !slices.Contains(tests, v.test) {
				continue
			}
			scope := t.meet(p.Parts)
			if len(scope) == 0 && kind == Void && b.met(t, v.test, proofs) {
				return Effect{}, false // the test's other proof is about what was touched
			}
			if only := t.has(w.only[v.test]); len(only) > 0 {
				scope = only
			}
			if t.all() {
				scope = nil
			}
			switch {
			case kind == Void:
				return Effect{Parts: scope, Reason: v.reason}, true
			case kind == Path && len(scope) == 0 && t.placed(p.Parts):
				return Effect{}, false
			case kind == Path:
				return Effect{Parts: scope, Reason: v.reason}, true
			case len(t.direct(p.Parts)) > 0:
				return Effect{Kept: true, Reason: v.reason}, true
			}
			return Effect{}, false
		}
	}
	if w.rest != "" {
		return Effect{Kept: true, Reason: w.rest}, len(t.direct(p.Parts)) > 0
	}
	for _, v := range b.stand {
		if slices.Contains(tests, v.test) {
			return Effect{Kept: true, Reason: v.reason}, len(t.direct(p.Parts)) > 0
		}
	}
	for _, v := range b.every {
		if t.hv && slices.Contains(tests, v.test) {
			return Effect{Reason: v.reason}, true
		}
	}
	if met := t.direct(p.Parts); len(met) > 0 {
		if t.all() {
			return Effect{Reason: "it is not known what was touched"}, true
		}
		return Effect{Parts: met, Reason: "work on " + strings.Join(met, ", ")}, true
	}
	return Effect{}, false
}

// met reports whether some proof of a test is about what was touched.
func (b *Book) met(t touch, test string, proofs []Proof) bool {
	return slices.ContainsFunc(proofs, func(p Proof) bool {
		return slices.Contains(b.tests[test], p.ID) && len(t.meet(p.Parts)) > 0
	})
}

// IsHV reports whether a part belongs to the HV system: everything but the
// 12 V side, the shutdown circuit and the bonds.
func IsHV(part string) bool {
	return part != "low_voltage" && !strings.HasPrefix(part, "shutdown.") && !strings.HasPrefix(part, "bonding.")
}

// touch is what was touched.
type touch struct {
	car   Car
	parts []string // as chosen
	also  []string // by the kind of work
	hv    bool
}

// all reports whether everything counts as touched.
func (t touch) all() bool { return slices.Contains(t.parts, Whole) }

// direct gives the parts of a proof that were touched themselves. Everything
// touched meets every list; any HV part meets the whole. An empty scope for
// everything is given as the list itself.
func (t touch) direct(parts []string) []string {
	if t.all() {
		return parts
	}
	var out []string
	for _, p := range parts {
		if slices.Contains(t.parts, p) || slices.Contains(t.also, p) || p == Whole && t.hv {
			out = append(out, p)
		}
	}
	return out
}

// meet gives the parts of a proof that were touched, or lie in the box of
// what was touched: who opens a box touches everything in it.
func (t touch) meet(parts []string) []string {
	if met := t.direct(parts); len(met) > 0 {
		return met
	}
	var box []string
	for _, p := range t.parts {
		box = append(box, t.box(p)...)
	}
	var out []string
	for _, p := range parts {
		if slices.Contains(box, p) {
			out = append(out, p)
		}
	}
	return out
}

// has keeps those of the parts that the car has.
func (t touch) has(parts []string) []string {
	var out []string
	for _, p := range parts {
		if slices.Contains(t.car.Parts(), p) {
			out = append(out, p)
		}
	}
	return out
}

// placed reports whether the car file says where every touched part is. It
// never says through which boxes the shutdown circuit and the bonds run.
func (t touch) placed(parts []string) bool {
	return len(t.parts) > 0 && !t.all() && !slices.ContainsFunc(t.parts, func(p string) bool { return t.home(p) == "" }) &&
		!slices.ContainsFunc(parts, func(p string) bool {
			return strings.HasPrefix(p, "shutdown.") || strings.HasPrefix(p, "bonding.")
		})
}

// home gives the part in whose box a part lies, "" where the file is silent.
func (t touch) home(part string) string {
	collection, name, _ := strings.Cut(part, ".")
	parts := t.car.Parts()
	within := func(text string) string {
		if slices.Contains(parts, "packs."+text) {
			return "packs." + text
		}
		if slices.Contains(parts, text) {
			return text
		}
		return ""
	}
	switch collection {
	case "packs":
		return part
	case "precharge":
		return within(t.car.Text("precharge.from"))
	case "contactors":
		return within(t.car.Text(part + ".pack"))
	case "joints":
		return within(t.car.Text(part + ".part"))
	case "fuses":
		for _, place := range []string{t.car.Text(part + ".pack"), t.car.Text(part + ".part"), name} {
			if at := within(place); at != "" {
				return at
			}
		}
	}
	return ""
}

// box gives the parts that lie in one box with a part, and the box.
func (t touch) box(part string) []string {
	home := t.home(part)
	if home == "" {
		return nil
	}
	out := []string{home}
	for _, p := range t.car.Parts() {
		if p != part && p != home && t.home(p) == home {
			out = append(out, p)
		}
	}
	return out
}
