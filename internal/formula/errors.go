package formula

import (
	"fmt"
	"strings"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// AbsentError says that a formula needs a value that this car does not give.
type AbsentError struct {
	Name  string // path of the missing value
	Where string // where it would stand
}

func (e *AbsentError) Error() string {
	return fmt.Sprintf("%s is missing: %s", e.Name, e.Where)
}

// DomainError says that an operation has no result over the range of its
// operand: a divisor that can be zero, a logarithm of what can be negative, a
// number too large.
type DomainError struct {
	Operation string       // "division by", "ln of", …; "" for a number too large
	Operand   string       // as written in the formula
	Reason    string       // what the range must not do
	Lo, Hi    float64      // range of the operand, SI
	Dim       quantity.Dim // of the operand
	Inputs    []string     // the car's values that it depends on
}

func (e *DomainError) Error() string {
	var b strings.Builder
	if e.Operation == "" {
		fmt.Fprintf(&b, "%s %s", e.Operand, e.Reason)
	} else {
		fmt.Fprintf(&b, "%s %s: %s %s", e.Operation, e.Operand, span(e.Lo, e.Hi, e.Dim), e.Reason)
	}
	if len(e.Inputs) > 0 && !(len(e.Inputs) == 1 && e.Inputs[0] == e.Operand) {
		shown := e.Inputs
		if len(shown) > 6 {
			shown = append(append([]string{}, shown[:6]...), "…")
		}
		fmt.Fprintf(&b, " (it depends on %s)", strings.Join(shown, ", "))
	}
	return b.String()
}

// domain gives the error of an operation on operand at with the range v.
func (p *program) domain(operation, reason string, at int32, v interval) *DomainError {
	n := p.nodes[at]
	return &DomainError{Operation: operation, Operand: n.text, Reason: reason,
		Lo: v.lo, Hi: v.hi, Dim: n.dim, Inputs: p.inputsOf(at)}
}

// Problem turns an error of Eval into a problem at the place of the formula.
func (f *Formula) Problem(err error) diag.Problem {
	return f.problem(fault{0, len(f.text), err.Error(), ""})
}

func (f *Formula) problem(x fault) diag.Problem {
	p := diag.Problem{Place: f.at, Message: x.message, Hint: x.hint, Source: f.line, Span: runes(f.text[x.from:x.to])}
	if p.Column > 0 {
		p.Column += runes(f.text[:x.from])
	}
	return p
}
