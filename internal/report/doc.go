// Package report makes the page model of a test report: what a run, or the
// whole car, is shown by its log to have been tested for, with what result.
//
// The model is neutral. It holds finished sentences, named facts, lists and
// tables in reading order, and no layout; packages below this one print it as
// text, and others may print it as PDF or HTML. A renderer decides on type
// and page breaks and changes no word.
//
// Every number is that of the frozen plan which the run's first entry names,
// or of the entries themselves, never of today's files: a limit that was
// changed since is shown as it was when the reading was judged. Limits are
// rounded inward, uncertainties up.
//
// What a report says follows ISO/IEC 17025:2017, 7.8.2.1 (what every report
// has) and 7.8.6 (statements of conformity, with the decision rule). What the
// record does not hold is said to be not recorded, rather than left out. The
// report says what was tested, with which results, in which state, at which
// time; it never says that anything is safe.
package report
