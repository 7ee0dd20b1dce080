package formula

import "hvproof/internal/quantity"

// Env gives names their values. Names are dotted paths of the car's file.
//
// Match returns the concrete names, in file order, that a pattern such as
// "packs.*.capacity" stands for; "packs.*" stands for the items themselves.
// Where a known pattern has no item in this car, Resolve(pattern) may still
// give its dimension in a Var that is Absent.
//
// Resolve knows a name that the car's file could give but does not: the Var
// says in Absent where it would stand. A part that the car may lack ("pyro",
// "packs.right") is known in the same way, or because Names holds names that
// begin with it.
type Env interface {
	Resolve(name string) (Var, bool)
	Match(pattern string) []string
	Names() []string // for "did you mean", and to tell parts from typing errors
}

// Var is what a name stands for.
type Var struct {
	Name         string         // its concrete path: two names with one path are one value
	Dim          quantity.Dim   // also of absent values
	Range        quantity.Range // SI; Lo <= Nominal <= Hi
	IsBool, Bool bool
	Derived      *Formula // computed from other values; Range is not used
	Absent       string   // not empty: no such value in this car, and where it would stand
}

// Want is what the place where a formula stands needs.
type Want struct {
	Dim  quantity.Dim
	Any  bool // any dimension
	Bool bool // a condition; with Any, also a condition
}
