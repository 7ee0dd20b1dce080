package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"

	"hvproof/internal/diag"
)

// app is what every command shares: the surroundings and the global flags.
//
// The rules of the voice: standard output is the answer and nothing else;
// everything said beside it goes to standard error, one line a thought, in
// lower case without a full stop, after "hvproof: error:", "hvproof: hint:"
// or "hvproof: warning:". With --json standard output is one document. Meaning
// is never in colour or sound alone.
type app struct {
	in       io.Reader
	out, err io.Writer
	env      func(string) string
	now      func() time.Time
	started  time.Time

	dir      string // -C
	json     bool   // --json
	answered bool   // a JSON document was written
	input    *bufio.Scanner
}

// errNo ends a command whose answer is no; the answer has been printed.
var errNo = &diag.Error{Class: diag.ClassNo}

// errStopped ends a run that can be resumed; what was recorded has been said.
var errStopped = &diag.Error{Class: diag.ClassStopped}

// warnf says something beside the answer.
func (a *app) warnf(format string, args ...any) {
	a.sayf("hvproof: warning: "+format, args...)
}

// sayf says how things go, on standard error.
func (a *app) sayf(format string, args ...any) {
	fmt.Fprintln(a.err, printable(fmt.Sprintf(format, args...)))
}

// printf writes to the answer.
func (a *app) printf(format string, args ...any) {
	fmt.Fprint(a.out, printable(fmt.Sprintf(format, args...)))
}

// printable gives lines such that no name from a file, a call or an answer
// can move the cursor, colour the screen or turn the direction of reading.
func printable(text string) string {
	lines := strings.Split(text, "\n")
	for i, l := range lines {
		lines[i] = diag.Printable(l)
	}
	return strings.Join(lines, "\n")
}

// document writes the one JSON document of a command.
func (a *app) document(v any) error {
	a.answered = true
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return err
	}
	_, err := a.out.Write(inertJSON(b.Bytes()))
	return err
}

// inertJSON writes characters that a terminal could be deceived by as JSON
// writes control characters: the same document, whoever reads it.
func inertJSON(text []byte) []byte {
	var out []byte
	for _, r := range string(text) {
		if r != '\n' && (unicode.IsControl(r) || formatting(r)) {
			for _, unit := range utf16.Encode([]rune{r}) {
				out = fmt.Appendf(out, `\u%04x`, unit)
			}
			continue
		}
		out = utf8.AppendRune(out, r)
	}
	return out
}

// formatting is true of characters that are not seen and turn or hide others.
func formatting(r rune) bool { return unicode.Is(unicode.Cf, r) }

// finish turns a command's error into words, or a JSON document, and the
// exit code.
func (a *app) finish(err error) int {
	if err == nil {
		return 0
	}
	class := diag.ClassOf(err)
	if err == errNo || err == errStopped || err == errFaults {
		return class.ExitCode() // all has been said
	}
	var e *diag.Error
	message, hint := err.Error(), ""
	if errors.As(err, &e) {
		hint = e.Hint
	}
	if a.json && !a.answered {
		type fault struct {
			Message string `json:"message"`
			Hint    string `json:"hint,omitempty"`
		}
		_ = a.document(map[string]any{"error": fault{message, hint}})
	}
	a.sayf("hvproof: error: %s", message)
	if hint != "" {
		a.sayf("hvproof: hint: %s", hint)
	}
	return class.ExitCode()
}
