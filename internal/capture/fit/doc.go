// Package fit finds the physics in a sampled signal: an exponential with its
// time constant, breaks of slope, jumps, levels, edges, crossings. It knows
// nothing of cars or instruments.
//
// SI throughout: seconds, and whatever unit the signal has. All numbers are
// plain floats. NaN samples are unknown and are left out everywhere. No
// function returns NaN: what the data do not tell is an error or an ok=false.
//
// # The exponential
//
// The model is y(t) = End − Gap·exp(−(t−Origin)/Tau). End and Gap enter
// linearly, so that only Tau has to be searched for (variable projection,
// Golub and Pereyra 1973): over a grid of time constants on binned samples,
// then refined by Levenberg-Marquardt on all samples.
//
// # What an estimate is worth
//
// Standard errors are those of least squares, with the scatter taken from the
// residuals. Three things make them wider:
//
//   - neighbouring residuals that go together (lag-1 correlation ρ): the
//     number of samples that count shrinks by (1−ρ)/(1+ρ);
//   - a quantisation that the noise does not blur: then the errors of the
//     samples are fixed ones, and the worst that a converter of this step does
//     to this curve, wherever its steps lie, is added as it is;
//   - a model that does not fit: see below.
//
// # A wrong model must not give a narrow answer
//
// The coefficient of determination is useless here: 0.9999 with a time
// constant 10 % wrong. Instead the residuals are averaged in up to 40 groups
// in time order. What neighbouring groups have in common, and noise has not, is
// Systematic.
// [Exponential.Fits] says no where it is above a thousandth of the gap and
// above what quantisation can do; below that it widens the error of Tau by
// ModelFactor.
package fit
