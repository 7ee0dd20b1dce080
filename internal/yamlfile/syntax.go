package yamlfile

import (
	"errors"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v4"

	"hvproof/internal/diag"
)

var tooDeep = fmt.Sprintf("maps and lists are nested more than %d deep", MaxDepth)

const (
	noColon   = `is neither "key: value" nor an item of a list`
	colonHint = "is a colon missing, or the space after it?"
)

// plainWords gives our words for the library's. The first entry whose
// library text is contained in the error's is taken; context, if any, must be
// contained in the error's context. In message and hint, LINE stands for the
// line where the construct begins.
var plainWords = []struct{ library, context, message, hint string }{
	{tooDeep, "", tooDeep, ""},
	{"could not find expected ':'", "", noColon, colonHint},
	{"did not find expected key", "", "does not fit the lines above: no key of that indentation is open here", "check the indentation, and quotes and brackets in the lines above"},
	{"did not find expected '-' indicator", "", `does not fit the list above: an item begins with "- "`, "check the indentation"},
	{"did not find expected ',' or ']'", "", `the list that begins with "[" in line LINE is not closed, or a comma is missing`, `lists in brackets are written [a, b]`},
	{"did not find expected ',' or '}'", "", `the map that begins with "{" in line LINE is not closed, or a comma is missing`, `maps in braces are written {a: 1, b: 2}`},
	{"found unexpected end of stream", "quoted scalar", "the text in quotes that begins in line LINE is not closed", "is a quote missing, or was the file cut off?"},
	{"found unexpected document indicator", "", "the text in quotes that begins in line LINE is not closed", "is a quote missing?"},
	{"found unknown escape character", "", `has an unknown \ escape in double quotes`, "use single quotes, or write \\\\ for one backslash"},
	{"hexadecimal number", "", `has a \ escape without its hexadecimal digits`, "use single quotes, or write \\\\ for one backslash"},
	{"escape code", "", `has a \ escape that is no character`, "write the character itself"},
	{"mapping values are not allowed", "", `has a colon where no key can stand`, `put a text that holds ": " in quotes; begin a map on a line of its own`},
	{"block sequence entries are not allowed", "", `has "- " where no list can begin`, "begin the list on a line of its own; put a text that begins with - in quotes"},
	{"mapping keys are not allowed", "", `has "? " where no key can stand`, "put the text in quotes"},
	{"did not find expected node content", "", "has no value where one must stand", "is something missing before the comma or bracket?"},
	{"unknown anchor", "", "is an alias (*), which is not read", "write the values out; put a text that begins with * in quotes"},
	{"anchor", "", "has an anchor or alias, which are not read", "write the values out; put a text that begins with & or * in quotes"},
	{"alphabetic or numeric character", "", "has an anchor or alias, which are not read", "write the values out; put a text that begins with & or * in quotes"},
	{"found undefined tag handle", "", "has a tag (!), which is not read", "delete it; put a text that begins with ! in quotes"},
	{"", "while scanning a tag", "has a tag (!), which is not read", "delete it; put a text that begins with ! in quotes"},
	{"", "while parsing a tag", "has a tag (!), which is not read", "delete it; put a text that begins with ! in quotes"},
	{"without preceding whitespace", "", "has a # directly after other text", "put a space before a comment, or the text in quotes"},
	{"comment or line break", "while scanning a block scalar", "has a text directly after the mark > or | of a block", `put a text that begins with > in quotes, as in ">2 GΩ"`},
	{"", "while scanning a block scalar", "the block of text that begins in line LINE is not well formed", "write | alone at the end of its line and indent the text below it with spaces"},
	{"after document-end marker", "", `has something after the end mark "..."`, "delete it"},
	{"", "directive", "a line begins with %", "put the text in quotes, or indent it"},
	{"directive", "", "a line begins with %", "put the text in quotes, or indent it"},
	{"found incompatible YAML document", "", "names a version of YAML that is not read", "delete the line"},
	{"<document start>", "", "does not fit the document: something stands after its end", "check brackets, quotes and the indentation"},
	{"tab", "", "holds a tab where only spaces can stand", "use spaces"},
	{"nicode", "", "holds a character that cannot stand in such a file", "delete it"},
	{"control characters", "", "holds a character that cannot stand in such a file", "delete it"},
	{"indentation", "", "is indented otherwise than the lines above", "indent with spaces, all lines of a map alike"},
}

// syntaxProblem turns an error of the library into a fault in plain words.
func (f *File) syntaxProblem(err error) diag.Problem {
	var e *yaml.LoadError
	if !errors.As(err, &e) {
		return f.Problem(diag.Place{}, 0, "", "cannot be read as YAML")
	}
	at, message, hint := f.translate(e)
	return f.Problem(at, 1, hint, "%s", message)
}

func (f *File) translate(e *yaml.LoadError) (at diag.Place, message, hint string) {
	at = diag.Place{Line: e.Mark.Line, Column: e.Mark.Column}
	begin := diag.Place{Line: e.ContextMark.Line, Column: e.ContextMark.Column}
	if begin.Line == 0 {
		begin = at
	}
	if strings.Contains(e.Message, "could not find expected ':'") {
		at = begin
	}
	if before, ok := f.wordAlone(at.Line - 1); ok && strings.Contains(e.Message, "mapping values are not allowed") {
		return before, noColon, colonHint
	}
	if strings.Contains(e.Message, "cannot start any token") {
		message, hint = f.badStart(at)
		return at, message, hint
	}
	for _, w := range plainWords {
		if strings.Contains(e.Message, w.library) && strings.Contains(e.ContextMsg, w.context) {
			message, hint = strings.ReplaceAll(w.message, "LINE", fmt.Sprint(begin.Line)), w.hint
			break
		}
	}
	if message == "" {
		message = "cannot be read as YAML from here on"
	}
	if f.pastEnd(at) && at != begin && !strings.Contains(hint, "cut off") {
		hint += ", or was the file cut off?"
		hint = strings.TrimPrefix(hint, ", or ")
	}
	return at, message, hint
}

// wordAlone finds a line that holds only a word and goes on, with the same
// indentation, in the line after it: the library reads both as one text and
// complains about the second.
func (f *File) wordAlone(line int) (diag.Place, bool) {
	indent := func(s string) int { return len(s) - len(strings.TrimLeft(s, " ")) }
	text := f.Line(line)
	word := strings.TrimSpace(text)
	if word == "" || strings.ContainsAny(word, ":#[]{}\"'") || strings.HasPrefix(word, "-") || indent(text) != indent(f.Line(line+1)) {
		return diag.Place{}, false
	}
	return diag.Place{Line: line, Column: indent(text) + 1}, true
}

// badStart explains a character that no value can begin with.
func (f *File) badStart(at diag.Place) (message, hint string) {
	line := []rune(f.Line(at.Line))
	if at.Column < 1 || at.Column > len(line) {
		return "cannot be read as YAML from here on", ""
	}
	switch c := line[at.Column-1]; c {
	case '\t':
		return "holds a tab where only spaces can stand", "use spaces"
	default:
		return fmt.Sprintf("a text cannot begin with %q", c), "put the text in quotes"
	}
}

// pastEnd reports whether nothing but space follows a place.
func (f *File) pastEnd(at diag.Place) bool {
	for i := at.Line; i <= len(f.lines); i++ {
		line := f.Line(i)
		if i == at.Line {
			runes := []rune(line)
			line = string(runes[min(max(at.Column-1, 0), len(runes)):])
		}
		if strings.TrimSpace(line) != "" {
			return false
		}
	}
	return true
}
