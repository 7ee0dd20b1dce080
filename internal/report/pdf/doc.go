// Package pdf prints a report as PDF for A4: black on white, nothing in colour,
// fonts embedded, text that can be searched and copied. The same report gives
// the same bytes.
//
// Every page carries the report's mark, its number and the number of all, and
// how long the log was with which root, so that a page that was swapped shows.
// The checkpoint stands in text and as a QR code. A character that the fonts do
// not have is written as \u{HEX}.
//
// The fonts are IBM Plex Sans, unmodified, under the SIL Open Font License 1.1
// (fonts/OFL.txt).
package pdf
