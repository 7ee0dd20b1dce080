// Package procedure reads procedures, files of steps, and makes them ready
// for a car.
//
// # A procedure
//
//	format: 1
//	procedure: precharge            # its id
//	title: Pre-charge timing
//	purpose: A main contactor that closes onto an empty DC link can weld.
//	stage: C                        # A to E
//	live: true                      # something in it can be under voltage
//	proves: {precharge: [precharge, dc_link, "contactors.*"]}
//	holds_for: {days: 365}          # else until work on a part
//	people: {least: 2}              # else 1
//	prerequisites: [isolation_parts]
//	cautions: [hv_live]             # texts are in cautions.yaml
//	protective: [gloves]            # texts are in cautions.yaml
//	state: {packs: in}              # of the car, for all steps
//	ambient: true                   # ask for temperature and humidity
//	applies_if: has(precharge)      # else the procedure is not applicable
//	make_safe: [Press the emergency-off., Wait 5 s.]
//	steps: […]
//	sign_out: […]                   # done last, also after a stop or a failure
//
// The parts of a proof are parts of the car; "contactors.*" stands for all
// of them, "tested" for every part of a step that applies and finds
// something out.
//
// A file that begins with `block: NAME` instead has title, cautions and
// steps, which a procedure inserts:
//
//   - {include: prove_dead, id: dead, part: dc_link}
//
// # Steps
//
// A step has an id, unique in its list, and one kind with its sentence:
// confirm, observe, measure, time, capture, compute, wait, hold. Any step may have
//
//	purpose, source, applies_if, cautions
//	state: {service_disconnect: closed}   # over the procedure's
//	part: dc_link                         # or a list
//	witness: true
//	if_failed: stop                       # stop (default), make_safe, note
//	heats: {precharge: precharge.energy}  # what an attempt puts into a resistor
//
// and by its kind:
//
//	confirm, observe   expect: the wanted word (confirm: done)
//	                   choices: [words]; without expect, observe records which
//	measure            unit, with: the instrument's role
//	time               with; unit: s unless stated
//	measure, time      method, stimulus, lead_check: before|after,
//	                   test_voltage_at_least, test_current_at_least,
//	                   test_current_at_most: formulas,
//	                   unfit_meter: refuse (default)|mark
//	capture            kind: precharge, discharge, emergency_off, sharing, coil;
//	                   with, unfit_meter; find: {NAME: bounds}, the numbers that
//	                   are decided, such as tau: {between: precharge.tau};
//	                   channels: {dc_link: CH1}, where the columns are settled;
//	                   recorded_by: {current: clamp}, the role of an instrument
//	                   that recorded a channel beside the step's own
//	compute            the name of a function; from: its arguments;
//	                   text: the sentence (else purpose); unit;
//	                   if_missing: note, where the car's file may lack a value:
//	                   the step then says which one and is not done
//	measure, time,     limit: id or [ids] of the rule sets,
//	compute            at_least, at_most, between, magnitude_at_most,
//	                   expected: formula or, for between and expected, [LOW, HIGH];
//	                   conditional_pass: accept
//	wait               for: formula for the time
//	hold               released_by: releaser
//
// The functions are those of [Functions]. An argument is the id of an
// earlier step, searched from the innermost list outward, a formula, or a
// word.
//
// A loop does its steps for every item of a collection of the car:
//
//   - for_every: shutdown
//     called: device
//     applies_if: device.opens.contactor
//     steps: […]
//
// In formulas the loop's name stands for the item; in texts, parts and
// states {device} stands for its name.
//
// # Paths
//
// A step in no loop has its id as its path; in loops it is
// ITEM.STEP, ITEM.ITEM.STEP, in a block ID.STEP. Paths that collide are an
// error. A loop over nothing is an error unless its applies_if is false.
//
// # Plan
//
// [Library.Plan] gives the [plan.Plan]: all steps with their paths, also
// those that do not apply, with the reason; limits and windows by value,
// formula and inputs. A limit has the strictest corner over the car's
// tolerances, a window the widest, an argument that is a formula both.
// A wait takes the longest time. The wanted answer never stands first among
// the choices.
package procedure
