package procedure

import (
	"errors"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
	"hvproof/internal/yamlfile"
)

// faults collects the problems of one procedure. A loop meets the same fault
// for every item, so at one place only the first of a severity is kept.
type faults struct {
	list  diag.List
	said  map[said]bool
	lacks map[int]lack // by index in list
	trap  *diag.List   // of a step that may lack a value: what it lacks
}

// lack is what a problem is about that only the car's file can mend.
type lack int

const (
	nothing lack = iota
	aValue       // a value that the file does not give
	aThing       // a part or the items of a collection
)

type said struct {
	diag.Place
	diag.Severity
}

// add keeps a problem if it is the first at its place.
func (f *faults) add(p diag.Problem, about lack) {
	if f.trap != nil && about == aValue {
		f.trap.Add(p)
		return
	}
	k := said{p.Place, p.Severity}
	if f.said[k] {
		return
	}
	if f.said == nil {
		f.said, f.lacks = map[said]bool{}, map[int]lack{}
	}
	f.said[k] = true
	f.lacks[len(f.list)] = about
	f.list.Add(p)
}

func (f *faults) addAll(list diag.List, about lack) {
	for _, p := range list {
		f.add(p, about)
	}
}

// softened gives the problems for a check of the whole folder: a value that
// the car's file does not give keeps only its own procedure from being
// planned. So do whole parts as long as the file describes no pack yet. Of a
// car's file with faults nothing is said to be missing.
func (f *faults) softened(v *vehicle.Vehicle, faulty bool) diag.List {
	packs, _, _ := v.Collection("packs")
	out := make(diag.List, 0, len(f.list))
	for i, p := range f.list {
		if faulty && f.lacks[i] != nothing {
			continue
		}
		if f.lacks[i] == aValue || f.lacks[i] == aThing && len(packs) == 0 {
			p.Severity = diag.Warning
		}
		out.Add(p)
	}
	return out
}

// beyondLacks reports a fault that the car's file could not mend.
func (f *faults) beyondLacks() bool {
	for i, p := range f.list {
		if p.Severity == diag.Fault && f.lacks[i] == nothing {
			return true
		}
	}
	return false
}

func (w *walk) errorf(sc scope, at yamlfile.Scalar, hint, format string, a ...any) {
	w.faults.add(sc.file.At(at, hint, format, a...), nothing)
}

func (w *walk) warnf(sc scope, at yamlfile.Scalar, hint, format string, a ...any) {
	p := sc.file.At(at, hint, format, a...)
	p.Severity = diag.Warning
	w.faults.add(p, nothing)
}

// lack reports a part or a collection that the car does not have. Where
// nothing applies, nothing is lacking.
func (w *walk) lack(sc scope, at yamlfile.Scalar, hint, format string, a ...any) {
	if sc.reason != "" {
		return
	}
	w.faults.add(sc.file.At(at, hint, format, a...), aThing)
}

// eval evaluates a formula of the step over the car's tolerances.
func (w *walk) eval(sc scope, s yamlfile.Scalar, want formula.Want) (formula.Result, bool) {
	if problems := sc.file.OneLine(s, "a formula"); problems != nil {
		w.faults.addAll(problems, nothing)
		return formula.Result{}, false
	}
	f, problems := formula.Compile(s.Text, s.At, sc.file.Line(s.At.Line), sc.env, want)
	w.faults.addAll(problems, nothing)
	if f == nil || problems.Errors() {
		return formula.Result{}, false
	}
	res, err := f.Eval()
	var absent *formula.AbsentError
	switch {
	case errors.As(err, &absent):
		p := f.Problem(err)
		p.Message, p.Hint = absent.Name+" is missing", absent.Where
		w.faults.add(p, aValue)
		return formula.Result{}, false
	case err != nil:
		w.faults.add(f.Problem(err), nothing)
		return formula.Result{}, false
	}
	return res, true
}

// number evaluates a formula that may be left out; then all is zero.
func (w *walk) number(sc scope, s yamlfile.Scalar, dim quantity.Dim) formula.Result {
	if !given(s) {
		return formula.Result{}
	}
	res, ok := w.eval(sc, s, formula.Want{Dim: dim})
	if ok && !(res.Lo > 0) {
		w.errorf(sc, s, "a value above zero", "%s is %v at its lowest", s.Text, res.Lo)
	}
	return res
}
