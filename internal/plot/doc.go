// Package plot draws curves over time with limit lines and marks: a Chart
// says what is to be seen, Draw lays it out as a neutral Drawing of lines and
// texts, and a backend writes that. The one here writes SVG; a printed report
// uses the same Drawing. Characters draws the same chart with nothing but type,
// and Words says what it shows.
//
// Everything can be told apart in black and white: by line pattern and width,
// by numbers at marks, never by colour alone.
//
// X is in seconds, Y in SI units of the panel's dimension. Lengths of a
// Drawing are points, from the top left.
package plot
