// Package readiness tells which proofs hold now: what the passed runs of a
// log establish about a car, held against what the car's files ask for today.
//
// It is pure: a function of the runs (which are a fold of the entries), of
// today's plans, and of the time. It stores nothing.
//
// A proof here is evidence that a requirement was met. It rests on the newest
// run of a procedure that proves it: a later failure takes an earlier pass
// away, and a run that is not finished changes nothing. A proof is void where
// today's plan asks for something else than the run answered.
package readiness
