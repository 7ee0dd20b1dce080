// Package measure is about readings: the instruments they come from, the
// uncertainty they carry, and what may be decided by them.
//
// # Uncertainty
//
// A [Function] of an [Instrument] has ranges, and each [MeterRange] an
// accuracy: a fraction of the reading, a number of digits (counts of the
// last place shown), a fraction of the range, a fixed amount, or the sum of
// several. That sum is a hard half-width, and it is used as the expanded
// uncertainty U of a reading as it stands: the guard band w is U. It is never
// less than one digit of the range, whatever was typed. Independent ones
// combine by root sum of squares with k = 2, never above their sum
// ([Combine]).
//
// A tolerance of a part is something else and lives in package quantity;
// nothing here mixes the two.
//
// # Readings
//
// [Function.Read] attaches the uncertainty. The range is the smallest whose
// To is not below the magnitude of the reading, unless one is named. A
// reading may be one-sided: ">400 MΩ" is above 400 MΩ, less U. OL on a
// quantity that cannot be negative (Ω, F, s, Hz, N·m) is above the top of its
// range. OL on one that can (V, A, …) has no known sign, so that it is
// neither above nor below anything; it meets no limit at all.
//
// # Decisions
//
// [Decide] judges a reading against a bound by ILAC-G8:09/2019: with
// [GuardBand] (clause 4.2.3, w = U) it passes only if every true value that
// reading and uncertainty allow meets the bound; with [SimpleAcceptance]
// (clause 4.2.1, w = 0) the reading alone counts. What the reading leaves
// open is [CannotDecide], and so is everything malformed: NaN, infinity, a
// wrong dimension, an empty interval. Nothing undecided ever passes.
//
// A window (quantity.Expected) is not a limit but what this car's data make
// likely. It is missed, a finding, by a reading that lies outside it by more
// than U, and else met. Undecided it stays by a one-sided reading that may
// or may not lie in it (">400 MΩ" is also what an open lead shows), and by
// one whose U is above both the window's width and its middle.
//
// [CanDecide] answers beforehand whether a meter can decide at all.
// [Usable] says why a meter must not be used for a step.
package measure
