package formula

// outside says whether the ranges x of a node's operands leave the domain of
// its operation; which is the operand, operation and reason are for the error.
func outside(o op, x []interval) (which int, operation, reason string, bad bool) {
	switch o {
	case opDiv:
		return 1, "division by", "holds zero", x[1].holds0()
	case opLn:
		return 0, "ln of", "is not above zero", x[0].lo <= 0
	case opSqrt:
		return 0, "sqrt of", "is not above or at zero", x[0].lo < 0
	case opParallel:
		for i, y := range x {
			if y.lo <= 0 {
				return i, "parallel of", "is not above zero", true
			}
		}
	case opShare:
		for i, y := range x {
			if y.lo < 0 {
				return i, "share of", "is not above or at zero", true
			}
		}
		return 0, "share of", "may be zero together with the other", x[0].lo+x[1].lo <= 0
	}
	return 0, "", "", false
}

// tooLarge is the error of a result beyond the numbers of the machine.
func (p *program) tooLarge(at int32) error {
	return &DomainError{Operand: p.nodes[at].text, Reason: "is too large a number",
		Lo: -maxNumber, Hi: maxNumber, Dim: p.nodes[at].dim, Inputs: p.inputsOf(at)}
}
