// Package capture reads what an oscilloscope, a logger or a CAN interface
// wrote, and turns it into numbers that can be judged.
//
// This package is the reader; features are taken in capture/feature, with the
// fits of capture/fit. Read takes a text export or a
// candump log, finds out its delimiter, decimal mark, encoding, header and
// units, and gives a Waveform in SI units. What it found out is in
// Waveform.Detected, to be shown and recorded. Where a file can be read in
// two ways, Read ends with an error that says which option settles it; it
// never takes the likelier one.
//
// A marker ("OL", "-OVLD", "9.9E37", "---", an empty field) is never a
// number: the value of such a sample is NaN, and a Span says whether the
// signal was beyond a bound (Clipped) or is not known at all (Missing).
//
// Signals of a candump log (Options.Signals) have times of their own.
//
// A file that holds several recordings (time runs backwards: two triggers, a
// log that was appended to) is an error that lists them, until
// Options.Recording says which. What the file does not say and no option
// gave, such as the unit of a bare "Time", is in Settings.Assumed and in the
// notes: a person is to be asked before anything is decided on it.
//
// Samples are never resampled. Two samples of one time that are the least
// and the greatest value of an interval are kept as middle and half width.
package capture
