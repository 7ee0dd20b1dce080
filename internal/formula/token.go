package formula

import "hvproof/internal/quantity"

// kind is the kind of a token.
type kind uint8

const (
	tokenEnd      kind = iota // end of the formula
	tokenLiteral              // number with its unit
	tokenName                 // dotted name, pattern or function name
	tokenOperator             // one of the operators and brackets; text says which
)

// token is one word of a formula. Offsets are in bytes from its beginning.
type token struct {
	kind     kind
	text     string // as written
	from, to int
	value    quantity.Value // of a literal
	celsius  bool           // literal in °C: a point on a scale
}

// fault is what is wrong at some bytes of a formula.
type fault struct {
	from, to      int
	message, hint string
}

func (f *fault) Error() string { return f.message }
