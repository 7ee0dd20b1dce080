// Package bundle packs logs and everything they rest on into one file, and
// opens such files.
//
// The format is specified in spec.txt beside this comment, which
// `hvproof help bundle` prints: a plain ZIP, nothing compressed, with one
// spelling for everything. [Open] accepts only what [Write] would have written,
// byte for byte; a bundle is a [ledger.Storage] for reading, so that
// ledger.Verify and the audit run on it as they do on a car folder.
package bundle

import _ "embed"

//go:embed spec.txt
var specification string

// Specification returns the specification of the format, for people.
func Specification() string { return specification }
