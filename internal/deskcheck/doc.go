// Package deskcheck is what arithmetic alone can refuse, before anybody
// touches a probe: here the car's data meet the physics of package hv.
//
// A desk check is a step of kind compute in a procedure that proves
// design_review: its value is a formula, its limit stands in a rules file, so
// that a shop may set it looser or stricter, and both are frozen into the plan
// that a person signs. Three things are here:
//
//   - [Env] adds to a car's names those that need more than a formula: a
//     matrix, steps through time, cases ([Value]). They are names like every
//     other: a procedure uses them as values, limits and windows.
//   - [Review] decides every desk check of a plan and says, with numbers, what
//     is refused and which value is missing.
//   - [Page] explains one of them on a short page.
//
// # Worst case
//
// Every value here is monotone in each of its inputs while the others stand
// still, so its ends lie where every input is at one of its own ends. Which
// end makes the value higher is written beside each input; Monte Carlo tests
// draw against it. A value that needs what the file does not give is absent
// and says what is missing: nothing is assumed.
package deskcheck
