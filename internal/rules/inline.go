package rules

import (
	"errors"
	"math"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/yamlfile"
)

// A Limited is the outcome of putting a car's values into limits.
type Limited struct {
	Bounds []plan.Bound
	// Missing are the limits that have no value because the car's file does
	// not give one; each says which and where. They are not in Problems. A
	// limit that is missing has not been met.
	Missing diag.List
	// Problems are faults of the files.
	Problems diag.List
}

// Inline makes the bound of formulas that stand in a file: the one place
// where corners are chosen. kind and exprs are as Formulas gives them; want
// is the dimension of the reading. A bound with only its kind, numbers and
// explanation is returned, and governs; the caller adds id, source, method
// and stimulus. Of Limited it sets at most one bound.
//
// Corners: at_least takes the highest value of its formula, at_most and
// magnitude_at_most the lowest; between the highest LOW and the lowest HIGH,
// or as one formula its whole range; expected the lowest LOW and the highest
// HIGH.
func Inline(f *yamlfile.File, kind quantity.BoundKind, exprs []yamlfile.Scalar, env formula.Env, want formula.Want) Limited {
	var out Limited
	var results []formula.Result
	for _, e := range exprs {
		r, missing, problems := evaluate(f, e, env, want)
		out.Missing.Append(missing)
		out.Problems.Append(problems)
		if r != nil {
			results = append(results, *r)
		}
	}
	if len(results) != len(exprs) || len(exprs) == 0 {
		return out
	}
	if len(results) == 2 && results[0].Dim != results[1].Dim {
		out.Problems.Add(f.At(exprs[1], "write both in one unit", "%s of %s and %s", kind, results[0].Dim, results[1].Dim))
		return out
	}
	b := corner(kind, results)
	if hint, message := senseless(b, kind, results, exprs); message != "" {
		out.Problems.Add(f.At(exprs[0], hint, "%s", message))
		return out
	}
	out.Bounds = []plan.Bound{explain(b, results)}
	return out
}

// corner chooses the strictest corner of a limit, the widest of a window.
func corner(kind quantity.BoundKind, r []formula.Result) quantity.Bound {
	low, high := r[0], r[len(r)-1]
	b := quantity.Bound{Kind: kind, Dim: low.Dim}
	switch {
	case kind == quantity.AtLeast:
		b.Low = low.Hi
	case kind == quantity.AtMost, kind == quantity.MagnitudeAtMost:
		b.High = high.Lo
	case kind == quantity.Between && len(r) == 2:
		b.Low, b.High = low.Hi, high.Lo
	default:
		b.Low, b.High = low.Lo, high.Hi
	}
	return b
}

// senseless says why a bound cannot be one, with a hint, or "".
func senseless(b quantity.Bound, kind quantity.BoundKind, r []formula.Result, exprs []yamlfile.Scalar) (hint, message string) {
	if math.IsNaN(b.Low) || math.IsInf(b.Low, 0) || math.IsNaN(b.High) || math.IsInf(b.High, 0) {
		return "", kind.String() + " is not a finite number"
	}
	switch kind {
	case quantity.MagnitudeAtMost:
		if b.High < 0 {
			return "write a limit of zero or more", "no magnitude is at most " + show(b.High, b.Dim)
		}
	case quantity.Between, quantity.Expected:
		switch {
		case b.Low > b.High:
			return "over the tolerances of the car, the low end must stay below the high end",
				"nothing is between " + show(b.Low, b.Dim) + " and " + show(b.High, b.Dim)
		case b.Low == b.High && len(r) == 1:
			return toleranceHint(r[0].Inputs), exprs[0].Text + " has no tolerance, so the window has no width"
		case b.Low == b.High:
			return "write a low end below the high end", "the window has no width"
		}
	}
	return "", ""
}

// toleranceHint names the car's values that would give the window its width.
func toleranceHint(inputs []formula.Input) string {
	var names []string
	var example string
	for _, in := range inputs {
		if in.Dim == quantity.One { // a count has no tolerance, nor has has()
			continue
		}
		if names = append(names, in.Name); example == "" {
			example = show(in.Lo, in.Dim)
		}
	}
	if len(names) == 0 {
		return "write [LOW, HIGH], or use a value that has a tolerance"
	}
	return "give " + strings.Join(names, " or ") + " a tolerance in vehicle.yaml, as " + example + " ±5%, or write [LOW, HIGH]"
}

func show(x float64, d quantity.Dim) string { return quantity.Value{SI: x, Dim: d}.String() }

// explain puts a bound beside what it follows from.
func explain(b quantity.Bound, results []formula.Result) plan.Bound {
	out := plan.Bound{Bound: b, Governs: true}
	var texts, put []string
	seen := map[string]bool{}
	for _, r := range results {
		texts, put = append(texts, r.Formula), append(put, r.Substituted)
		out.Exactness = coarser(out.Exactness, r.Exactness)
		for _, in := range r.Inputs {
			if !seen[in.Name] {
				seen[in.Name] = true
				out.Inputs = append(out.Inputs, plan.Input{Name: in.Name, Lo: in.Lo, Hi: in.Hi, Dim: in.Dim})
			}
		}
	}
	out.Formula, out.Substituted = texts[0], put[0]
	if len(results) == 2 {
		out.Formula = "[" + strings.Join(texts, ", ") + "]"
		out.Substituted = "[" + strings.Join(put, ", ") + "]"
	}
	return out
}

// coarser gives the less exact of two words for exactness.
func coarser(a, b string) string {
	rank := map[string]int{"": 0, "exact": 1, "corners": 2, "outer": 3}
	if rank[b] > rank[a] {
		return b
	}
	return a
}

// evaluate compiles a formula and puts the car's values in. A nil result
// comes with the reason in one of the lists.
func evaluate(f *yamlfile.File, e yamlfile.Scalar, env formula.Env, want formula.Want) (r *formula.Result, missing, problems diag.List) {
	if problems = f.OneLine(e, "a formula"); problems.Errors() {
		return nil, nil, problems
	}
	compiled, problems := formula.Compile(e.Text, e.At, e.Source, env, want)
	if compiled == nil || problems.Errors() {
		return nil, nil, problems
	}
	result, err := compiled.Eval()
	var absent *formula.AbsentError
	switch {
	case errors.As(err, &absent):
		missing.Add(compiled.Problem(err))
		return nil, missing, problems
	case err != nil:
		problems.Add(compiled.Problem(err))
		return nil, nil, problems
	}
	return &result, nil, problems
}
