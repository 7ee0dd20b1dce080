package formula

import _ "embed"

//go:embed grammar.txt
var grammar string

// Grammar returns the description of the formula language, as `hvproof help`
// prints it: UTF-8 text of lines that end in LF.
func Grammar() string { return grammar }
