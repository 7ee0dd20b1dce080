// Package diag says what is wrong, where, and what would be right.
//
// A [Problem] is one fault of one file with its place; a [List] collects all
// faults of all files, so that a person mends them in one go. An [Error] is
// what a command ends with: a sentence, a hint, and the [Class] that decides
// the exit code.
//
// Messages are lower case and have no full stop. The place comes first, then
// the fault; what would be right is the hint, kept apart so that it can be
// printed on a line of its own or left out.
package diag
