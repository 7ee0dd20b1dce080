package home

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"hvproof/internal/diag"
)

// maxPassphrase is the longest passphrase in bytes.
const maxPassphrase = 1024

// ParsePassphrases reads a file of passphrases for a practice folder, one
// `person: passphrase` a line. name is the file's name for the places in
// problems; no problem ever shows a passphrase.
//
// A passphrase is what follows the colon and one space, exactly. Empty lines and
// lines that begin with # are skipped. LF or CR LF ends a line, and a UTF-8 byte
// order mark is passed over. Every fault of the file is reported.
func ParsePassphrases(name string, file []byte) (map[string]string, diag.List) {
	var problems diag.List
	if len(file) > maxFile {
		problems.Errorf(diag.Place{File: name}, "", "longer than %d bytes", maxFile)
		return nil, problems
	}
	text := strings.TrimPrefix(string(file), "\ufeff")
	if !utf8.ValidString(text) || strings.ContainsRune(text, 0) {
		problems.Errorf(diag.Place{File: name}, "save it as UTF-8", "is not UTF-8 text; UTF-16 perhaps")
		return nil, problems
	}
	passphrases := map[string]string{}
	lines := map[string]int{} // where each person stood first
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSuffix(line, "\r")
		if line == "" || line[0] == '#' {
			continue
		}
		at := diag.Place{File: name, Line: i + 1, Column: 1}
		id, rest, found := strings.Cut(line, ":")
		if !found {
			problems.Errorf(at, "like r.mills: a passphrase", "no colon in this line")
			continue
		}
		if CheckPersonID(id) != nil { // not shown: it may be the passphrase
			problems.Errorf(at, "small letters, digits, single dots and dashes, as in r.mills", "what stands before the colon is not the id of a person")
			continue
		}
		if first, twice := lines[id]; twice {
			problems.Errorf(at, "", "%s stands in line %d already", id, first)
			continue
		}
		lines[id] = at.Line
		passphrase, spaced := strings.CutPrefix(rest, " ")
		at.Column = len(id) + 3 // of the passphrase; an id is ASCII
		if !spaced {
			at.Column--
			problems.Errorf(at, "", "one space wanted between the colon and the passphrase of %s", id)
			continue
		}
		if fault := passphraseFault(passphrase); fault != "" {
			problems.Errorf(at, "", "the passphrase of %s %s", id, fault)
			continue
		}
		passphrases[id] = passphrase
	}
	problems.Sort()
	return passphrases, problems
}

// passphraseFault says in words what is wrong with a passphrase, "" if nothing.
// White space at an end would be invisible in the file and is never meant.
func passphraseFault(p string) string {
	switch {
	case p == "":
		return "is missing"
	case strings.TrimSpace(p) != p:
		return "begins or ends with white space"
	case len(p) > maxPassphrase:
		return "is too long"
	case strings.ContainsFunc(p, unicode.IsControl):
		return "has a control character in it"
	}
	return ""
}
