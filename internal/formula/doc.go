// Package formula is the limit language: arithmetic over the car's values with
// units, checked for dimensions when a file is loaded, bounded over tolerances
// when it is evaluated, and explained afterwards. It knows neither cars nor
// limits; names come from an Env. The language is described in grammar.txt.
//
// # Passes
//
//	scan.go, literal.go   bytes to tokens, numbers with their units
//	parse.go              tokens to a tree
//	check.go, call.go     names and dimensions; the tree becomes a program
//	program.go            a list of operations without duplicates; derived
//	                      values are put in down to the file's own inputs
//	full.go               one evaluation over all ranges: branches, errors
//	bound.go              the worst case of one operation
//	result.go             Eval: the answer with its explanation
//
// # Worst case
//
// Evaluating a formula once in interval arithmetic is safe and useless: in
// R/(R+S) the two R would be different resistors. Instead, for each end:
//
//  1. A part of the program that shares no input with the rest is bounded by
//     itself and takes the place of one input (bound.go, closed parts).
//  2. Partial derivatives are enclosed over the whole box of inputs, forward,
//     as intervals (gradient.go). An input whose derivative keeps its sign is
//     fixed at the end that is worst; with it fixed, others often follow.
//  3. Where a sign is undecided the box is halved, each time along the input
//     that narrows the derivative most, until the sign is proved in every
//     piece or 4,096 pieces are reached (prove.go).
//  4. What is left is bounded by branch and bound (branch.go), and the result
//     is marked "outer".
//
// Operations on ranges round outward to the neighbouring float64 where the
// result is not exact; operations whose operands have no range are plain
// float64 arithmetic, so that 0.1 <= 0.1 holds. Sources: R. E. Moore, R. B.
// Kearfott, M. J. Cloud, Introduction to Interval Analysis (SIAM 2009), for
// the mean value form and the monotonicity test (from memory).
//
// # Bounds on the work
//
// A formula has at most 2000 bytes and nesting 64, its program at most 4,096
// operations once derived values are put in, one bound at most 4,096 pieces,
// and one Eval a fixed amount of derivative arithmetic, after which bounds
// become wider ("outer"), never narrower.
package formula
