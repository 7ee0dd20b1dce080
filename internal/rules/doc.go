// Package rules reads rule sets, named collections of limits from one rule
// book, and says which limits a car is judged by.
//
// # A rule set
//
//	format: 1
//	rules: un-r100
//	title: Electric power trained vehicles, safety requirements
//	edition: revision 2
//	decision_rule: guard_band
//	limits:
//	  isolation_whole:
//	    at_least: "(system.conductively_connected_ac ? 500 Ω/V : 100 Ω/V) * system.max_voltage"
//	    method: two-voltage
//	    test_voltage_at_least: system.max_voltage / 2
//	    source: clause 5.1.3.2
//	    status: read
//
// A limit has exactly one of at_least, at_most, magnitude_at_most, between,
// expected. `between` and `expected` take two formulas, [LOW, HIGH], or one
// whose own tolerance is the window. `applies_if` leaves a limit out for
// other cars. `source` says the clause, `status` whether it was read in the
// book (read), is from memory (memory, and printed as unverified), or is the
// shop's own (shop); what does not say counts as from memory. decision_rule is
// guard_band unless stated.
//
// A formula stands in one line, in quotes where it holds ": ". It may use a
// loop variable of the step that the limit is used in, such as
// `joint.torque`, which means what the step's loop says.
//
// # Which corner
//
// A limit takes the strictest corner of its formula over the tolerances of
// the car, an expected window the widest: a least isolation follows the
// highest voltage; "looks like this car" admits every part within its
// tolerance.
//
// # Which limit governs
//
// Of the limits that the chosen rule sets give for one thing, the strictest
// governs, and the others are shown. Only like is compared: limits of one
// kind, for one method, one stimulus and one decision rule. 0.1 Ω at 0.2 A
// and 0.3 Ω at 1 A are two requirements, and both govern.
package rules
