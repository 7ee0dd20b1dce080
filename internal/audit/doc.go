// Package audit reads conduct out of a log: what was done in a way that
// somebody who relies on the log should know of, though every signature is
// good.
//
// Faults of integrity are package ledger's, and make a log fail to verify.
// Remarks are this package's, and never do: a repeated step, a lapsed
// calibration, a looser bound may have good reasons. They never go away
// either; they stand on page one of every report. One of them is more than a
// remark: [RefutedDecision], of which every signature is good and the bytes
// of the capture say otherwise. Whoever asks treats it as a fault.
//
// # What is compared with what
//
// The plan of each run is compared with that of an earlier one of the same
// procedure: the run that the newest `baseline` entry before it names, if
// another person than its signer stands behind it, else the first run of the
// procedure. Rehearsals are neither compared nor compared
// with. A later baseline does not take an earlier remark away.
//
// # Every entry of a run is proposed again
//
// Before an entry of a run is folded, the same step machine is asked what it
// would have recorded at that point for the words that were typed. An entry
// that it would not have written is a remark: the log's signatures do not
// explain it. So a run that "passed" without its steps, a decision better than
// the reading, or an uncertainty smaller than the meter's is seen.
//
// # The codes
//
// About the log:
//
//	clock-backwards            an entry is dated before the one before it
//	set-clock                  the clock was set by hand while entries were made
//	loss                       a releaser signed that entries were lost
//	hand-over                  the log goes on from another one
//	predecessor                entry 0 names an earlier log that is not here, or is unproven
//	went-on                    the log before went on after it was handed over
//	few-releasers              one releaser is left, or none
//	look-alike                 a person's id looks like that of another
//	not-accepted               a person was introduced and never accepted
//	baseline-replaced          another baseline was in force before
//	baseline-unknown-run       the baseline names a run that is not there or is a rehearsal
//	baseline-not-countersigned nobody but its signer stands behind the baseline
//
// About a run:
//
//	rehearsal                  answered from a file: proves nothing
//	impossible-run             an entry that no run would have written there
//	other-decision             the recorded value or decision is not what the reading gives
//	other-features             what was found in a waveform is not what the waveform gives
//	refuted-decision           a decision is better than what the waveform gives: verify counts it among the faults
//	not-recomputed             a waveform read by another version of the reader: not compared
//	other-signer               signed by somebody else than the run's person for it
//	not-refused                the run would have been refused at its start
//	other-date                 the run's date is not the day of its first entry
//	abandoned-run              replaced by another run before it ended
//	unfinished-run             neither finished nor replaced
//	not-signed-out             failed, and its sign-out is owed
//	repeated-run               passed after runs that did not
//
// About an answer:
//
//	repeated-step              answered several times
//	repeated-until-passed      the same, and the last answer passed where an earlier did not
//	conditional-pass           met the limit by less than the uncertainty, and was accepted
//	confirmed-after-asking     looked like a slip, was asked back and confirmed
//	read-on-paper              taken earlier and entered later
//	corrected                  corrects an earlier entry
//	late-witness               the witness signed minutes after what was witnessed
//
// About instruments:
//
//	calibration-lapsed         not in calibration on the day of the reading
//	calibration-edited         dates changed without a newer calibration
//	calibration-ahead          calibrated on a day after the run
//	meter-replaced             the same id, another serial number
//	meter-edited               the same serial number, other data
//	better-meter               claims less uncertainty than at the baseline
//
// About the plan, against the baseline:
//
//	looser-bound        a limit moved the easy way, or is of another kind or quantity
//	bound-gone          a limit or window is no longer there
//	rule-set-dropped    none of a rule set's limits is there any more
//	looser-method       a limit takes another method, or a weaker stimulus
//	guard-band-off      the uncertainty is no longer allowed for
//	wider-window        an expected window is wider
//	formula-changed     a limit or window is computed otherwise
//	softened-step       if_failed, conditional_pass, unfit_meter, expect, wait or lead check
//	witness-removed     nobody has to see the step any more
//	step-changed        another kind of step, quantity or computation
//	step-deleted        a step is gone or no longer applies
//	items-deleted       all steps about an item (a device, a bonding point) are gone
//	state-dropped       a state of the car is no longer asked for
//	fewer-people        fewer people have to be there
//	holds-longer        a proof holds longer
//	proof-narrowed      a proof, or a part of it, is gone
//	prerequisite-dropped
//	precaution-dropped  a caution, protective equipment, a make-safe action, the ambient
//	                    conditions, or that the procedure is live
//	input-changed       a value of the car that limits rest on is another one
//	wider-tolerance     the same, with only a wider tolerance
//	file-not-shipped    a file of the shop's own, or changed from the built-in one
//	file-not-carried    a file as used lies not in the log: its digest is known, its words are not
//	foreign-file        the run carries a file that its plan was not made from
package audit
