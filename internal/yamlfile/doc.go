// Package yamlfile reads the YAML files that people write for a car, strictly
// and with the place of every word.
//
// # What is read
//
// UTF-8 text of at most 1 MiB (a byte order mark is accepted), one document
// of maps, lists and texts, nested at most 64 deep. Every scalar is the text
// that stands in the file: the revision 1.10 stays "1.10", and "no" is a
// word. Keys are texts of one line. Refused are duplicate keys, keys and
// items without a value, anchors, aliases, tags, merge keys, directives, a
// second document, tabs in the indentation, and invisible characters.
//
// # What comes out
//
// [Parse] gives a [File] whose [Node]s keep line and column; [File.Decode]
// fills a Go value and reports unknown keys, missing keys and values of the
// wrong kind. All faults of a file are reported at once, in plain words, with
// the line of the file and a hint.
package yamlfile
