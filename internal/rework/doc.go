// Package rework knows what work on the HV system does to the proofs of a car:
// the rules of rework.yaml, which a shop may edit, and how they are applied to
// the parts that were touched.
//
// The rule is: every proof lists parts, every work lists parts, and a proof is
// void where the lists meet. Unknown counts as touched. What parts alone do
// not give, such as a monitor whose time changes with another inverter, or a
// proof that stands although its part was near, is written in the file, each
// with its reason.
//
// # The file
//
//	format: 1
//	tests:                     # short names for proofs
//	  weld_check: [weld_check]
//	  emergency_off: [shutdown_low_energy, emergency_off]
//	every_hv_part: {isolation_whole: any HV part that was touched may leak}
//	stands: {design_review: it is about the drawing}
//	work:
//	  contactor_swapped:
//	    title: contactor swapped
//	    parts: [contactors]    # what may be chosen: collections, parts, or any
//	    also: [shutdown.interlock]
//	    void: {weld_check: its contacts are new}
//	    path: {precharge: void if it lies in the path of that test}
//	    keep: {bonding: no bond was opened}
//	    only: {shutdown_cold: [shutdown.interlock]}
//	    rest: nothing was opened   # why every other test stands
//
// void is void whatever the parts. path is void unless the vehicle file says
// where the touched part is, and that is not in the test's path or box. keep
// stands although the lists may meet. only names the parts of a voided test
// that are to be repeated. A test that a work does not name is void where the
// lists meet, but for those under stands, which no work makes void; with rest it
// stands as well: of an event that is known to have touched one thing. Items of
// also are touched, too, where the car has them.
package rework
