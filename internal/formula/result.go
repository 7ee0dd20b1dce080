package formula

import "hvproof/internal/quantity"

// What is known of the ends of a Result.
const (
	Exact   = "exact"   // no range is involved: Lo, Nominal and Hi are one
	Corners = "corners" // both ends are reached with every input at one of its ends
	Outer   = "outer"   // the ends are safe; they may lie outside what can be reached
)

// Result is what a formula came to, with its explanation. Numbers are SI.
type Result struct {
	Dim             quantity.Dim
	Lo, Nominal, Hi float64 // worst cases and plain value; 0 for a condition
	IsBool          bool
	Bool            *bool  // of a condition; nil: undecided over the ranges
	Exactness       string // Exact, Corners or Outer; a condition is Exact or, if a range is involved, Outer
	Formula         string // as written
	Taken           string // the same with only that side of ? : which this car takes
	Substituted     string // that with the car's numbers put in
	Inputs          []Input
	// LoAt and HiAt are the values, by path, at which Lo and Hi are reached;
	// nil for an end that is not proved to be reached.
	LoAt, HiAt map[string]float64
}

// Input is a value of the car that a result rests on, SI. The answers of has
// and count are inputs too, under their text, and conditions are 1 or 0. What
// stands in a branch that is not taken is not listed.
type Input struct {
	Name            string
	Lo, Nominal, Hi float64
	Dim             quantity.Dim
	IsBool          bool
}

// Eval bounds the formula over the ranges of all values it uses. The error is
// an *AbsentError where the car does not give a value that is needed, or a
// *DomainError where an operation has no result.
func (f *Formula) Eval() (Result, error) {
	res := Result{Dim: f.dim, IsBool: f.truth, Formula: f.text, Exactness: Exact}
	r := newRun(f.program)
	if err := r.full(f.root); err != nil {
		return res, err
	}
	if f.truth {
		if t := r.truth[f.root]; t != undecided {
			b := t == yes
			res.Bool = &b
		}
		if r.usesRange() {
			res.Exactness = Outer
		}
	} else if err := f.ends(r, &res); err != nil {
		return res, err
	}
	res.Inputs = r.used()
	res.Taken, res.Substituted = f.written(r, false), f.written(r, true)
	return res, nil
}

// ends fills in the numbers.
func (f *Formula) ends(r *run, res *Result) error {
	nominal := make([]float64, len(f.program.inputs))
	for i, in := range f.program.inputs {
		nominal[i] = in.nominal
	}
	var err error
	if res.Nominal, err = f.program.plain(f.root, nominal); err != nil {
		return err
	}
	e := r.extent(f.root)
	// The plain value lies between the ends but for its own rounding.
	res.Lo, res.Hi = min(e.lo, res.Nominal), max(e.hi, res.Nominal)
	if e.loCorner {
		res.LoAt = r.point(e.loAt)
	}
	if e.hiCorner {
		res.HiAt = r.point(e.hiAt)
	}
	switch {
	case !r.ranged[f.root]:
		res.Exactness = Exact
	case e.loCorner && e.hiCorner:
		res.Exactness = Corners
	default:
		res.Exactness = Outer
	}
	return nil
}

// point gives the values of all numbers used, with some of them at the ends
// given and the others nominal.
func (r *run) point(at []assign) map[string]float64 {
	values := map[string]float64{}
	for i, n := range r.p.nodes {
		if n.op == opInput && r.done[i] && !n.truth && !r.p.inputs[n.input].part {
			values[r.p.inputs[n.input].name] = r.p.inputs[n.input].nominal
		}
	}
	for _, a := range at {
		values[r.p.inputs[a.input].name] = a.value
	}
	return values
}

// used lists the inputs that were looked at, in the order of the formula.
func (r *run) used() []Input {
	var inputs []Input
	for i, n := range r.p.nodes {
		if n.op == opInput && r.done[i] {
			in := r.p.inputs[n.input]
			inputs = append(inputs, Input{Name: in.name, Lo: in.lo, Nominal: in.nominal, Hi: in.hi, Dim: in.dim, IsBool: in.truth})
		}
	}
	return inputs
}

func (r *run) usesRange() bool {
	for i, n := range r.p.nodes {
		if n.op == opInput && r.done[i] && n.ranged {
			return true
		}
	}
	return false
}
