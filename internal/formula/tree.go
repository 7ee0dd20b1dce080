package formula

import "hvproof/internal/quantity"

// shape is the kind of a tree node.
type shape uint8

const (
	shapeLiteral shape = iota
	shapeName          // dotted name or pattern
	shapeUnary         // text "-" or "!", one argument
	shapeBinary        // text is the operator, two arguments
	shapeCond          // condition, if true, if false
	shapeCall          // text is the function
)

// tree is a parsed formula. Offsets are in bytes of the formula.
type tree struct {
	shape    shape
	text     string // operator, name or function
	from, to int    // the whole
	at, past int    // the operator or the name of the function
	args     []*tree
	value    quantity.Value
	celsius  bool
}
