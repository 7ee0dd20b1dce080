package diag_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/diag"
)

func TestPlace(t *testing.T) {
	assert.Equal(t, "vehicle.yaml:12:7", diag.Place{File: "vehicle.yaml", Line: 12, Column: 7}.String())
	assert.Equal(t, "vehicle.yaml:12", diag.Place{File: "vehicle.yaml", Line: 12}.String())
	assert.Equal(t, "vehicle.yaml", diag.Place{File: "vehicle.yaml"}.String())
	assert.Equal(t, "line 12", diag.Place{Line: 12, Column: 7}.String())
	assert.Equal(t, "", diag.Place{}.String())
	assert.Equal(t, `a\u{001B}[31m\u{202E}b:1:1`, diag.Place{File: "a\x1b[31m\u202Eb", Line: 1, Column: 1}.String())
}

func TestProblem(t *testing.T) {
	p := diag.Problem{
		Place:   diag.Place{File: "vehicle.yaml", Line: 14, Column: 27},
		Message: `"1.02 mf" is not a quantity`, Hint: "did you mean 1.02 mF?",
		Source: "dc_link: {capacitance:     1.02 mf ±10%}", Span: 7,
	}
	assert.Equal(t, `vehicle.yaml:14:27: "1.02 mf" is not a quantity; did you mean 1.02 mF?`, p.Error())
	p.Column = 28
	assert.Equal(t, "dc_link: {capacitance:     1.02 mf ±10%}\n                           ^^^^^^^", p.Excerpt())
	assert.Equal(t, "is empty", diag.Problem{Message: "is empty"}.Error())
}

func TestExcerpt(t *testing.T) {
	at := func(source string, column, span int) string {
		return diag.Problem{Place: diag.Place{Line: 1, Column: column}, Source: source, Span: span}.Excerpt()
	}
	assert.Equal(t, "Ω µ V\n    ^", at("Ω µ V", 5, 1), "columns are characters")
	assert.Equal(t, "abc\n   ^", at("abc", 4, 1), "just after the line")
	assert.Equal(t, "abc\n  ^", at("abc", 3, 99), "never past the line")
	assert.Equal(t, "abc\n^", at("abc", 1, 0))
	assert.Equal(t, "", at("abc", 5, 1))
	assert.Equal(t, "", at("abc", 0, 1))
	assert.Equal(t, "", at("", 1, 1))
	assert.Equal(t, " a\n ^", at("\ta", 2, 1), "a tab is one space wide")
	assert.Equal(t, `\u{001B}x`+"\n"+`        ^`, at("\x1bx", 2, 1), "control characters cannot reach a terminal")
	assert.Equal(t, "\uFFFDx\n^", at("\xffx", 1, 1), "a byte that is no text shows as such")
	assert.Equal(t, `a\x{FF}`, diag.Printable("a\xff"))

	long := strings.Repeat("a", 500) + "B" + strings.Repeat("c", 500)
	lines := strings.Split(at(long, 501, 1), "\n")
	require.Len(t, lines, 2)
	assert.LessOrEqual(t, len([]rune(lines[0])), 102)
	assert.Equal(t, 'B', []rune(lines[0])[strings.Index(lines[1], "^")], "the caret stands below the B")
}

func TestExcerptNeverPanics(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := diag.Problem{Source: rapid.String().Draw(t, "source"), Span: rapid.IntRange(-5, 300).Draw(t, "span")}
		p.Column = rapid.IntRange(-5, 300).Draw(t, "column")
		text := p.Excerpt()
		if text == "" {
			return
		}
		line, caret, ok := strings.Cut(text, "\n")
		require.True(t, ok)
		require.NotContains(t, caret, "\n")
		require.Contains(t, caret, "^")
		require.LessOrEqual(t, len([]rune(caret)), len([]rune(line))+1)
	})
}

func TestList(t *testing.T) {
	var l diag.List
	assert.NoError(t, l.Err())
	l.Warnf(diag.Place{File: "b.yaml", Line: 1}, "", "looks odd")
	assert.False(t, l.Errors())
	assert.NoError(t, l.Err())

	l.Errorf(diag.Place{File: "b.yaml", Line: 10, Column: 2}, "write %", "second in %d", 1)
	l.Errorf(diag.Place{File: "b.yaml", Line: 2, Column: 9}, "", "first")
	l.Errorf(diag.Place{File: "a.yaml", Line: 99}, "", "other file")
	l.Append(diag.List{{Place: diag.Place{File: "b.yaml", Line: 2, Column: 9}, Message: "first"}})
	l.Sort()
	assert.Equal(t, "a.yaml:99: other file\nb.yaml:1: looks odd\nb.yaml:2:9: first\nb.yaml:10:2: second in 1; write %\n", l.String())
	assert.True(t, l.Errors())

	err := l.Err()
	assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
	assert.Equal(t, "3 faults in the files", err.Error())
	assert.Equal(t, l, diag.ProblemsOf(fmt.Errorf("checking: %w", err)))

	one := diag.List{{Severity: diag.Warning, Message: "odd"}, {Place: diag.Place{File: "a"}, Message: "bad", Hint: "mend it"}}
	assert.Equal(t, "a: bad", one.Err().Error())
	assert.Equal(t, "mend it", diag.HintOf(one.Err()))
}

func TestSeverity(t *testing.T) {
	assert.Equal(t, "error", diag.Fault.String())
	assert.Equal(t, "warning", diag.Warning.String())
}

func TestError(t *testing.T) {
	tests := []struct {
		err        *diag.Error
		class      diag.Class
		code       int
		says, hint string
	}{
		{diag.No("test again", "%s has failed", "precharge"), diag.ClassNo, 1, "precharge has failed", "test again"},
		{diag.Bad("", "no step %q", "x"), diag.ClassBadInput, 2, `no step "x"`, ""},
		{diag.Stopped("hvproof resume", "stopped at step 3"), diag.ClassStopped, 3, "stopped at step 3", "hvproof resume"},
		{diag.Machine("free some space", "writing the log: %w", io.ErrShortWrite), diag.ClassMachine, 4, "writing the log: short write", "free some space"},
	}
	for _, tt := range tests {
		assert.Equal(t, tt.says, tt.err.Error())
		wrapped := fmt.Errorf("run: %w", tt.err)
		assert.Equal(t, tt.class, diag.ClassOf(wrapped))
		assert.Equal(t, tt.code, diag.ClassOf(wrapped).ExitCode())
		assert.Equal(t, tt.hint, diag.HintOf(wrapped))
	}
	assert.ErrorIs(t, tests[3].err, io.ErrShortWrite)
	assert.Equal(t, "reading: unexpected EOF", (&diag.Error{Message: "reading", Err: io.ErrUnexpectedEOF}).Error())
	assert.Equal(t, "unexpected EOF", (&diag.Error{Err: io.ErrUnexpectedEOF}).Error())
}

func TestClassOf(t *testing.T) {
	assert.Equal(t, diag.Class(0), diag.ClassOf(nil))
	assert.Equal(t, diag.ClassMachine, diag.ClassOf(io.EOF), "unknown errors are the machine's")
	assert.Equal(t, diag.ClassBadInput, diag.ClassOf(fmt.Errorf("x: %w", diag.Problem{Message: "bad"})))
	// The outermost class stands; an Error without one looks further in.
	inner := diag.Bad("", "bad")
	assert.Equal(t, diag.ClassNo, diag.ClassOf(&diag.Error{Class: diag.ClassNo, Err: inner}))
	assert.Equal(t, diag.ClassBadInput, diag.ClassOf(&diag.Error{Message: "loading", Err: inner}))
	assert.Equal(t, diag.ClassBadInput, diag.ClassOf(errors.Join(io.EOF, inner)))
	assert.Equal(t, 4, diag.Class(0).ExitCode())
	assert.Equal(t, 4, diag.Class(99).ExitCode())
	assert.Equal(t, "", diag.HintOf(io.EOF))
	assert.Nil(t, diag.ProblemsOf(io.EOF))
}

func TestNearest(t *testing.T) {
	keys := []string{"capacitance", "capacity", "resistance", "max", "min", "Ω"}
	tests := []struct{ word, want string }{
		{"capacitence", "capacitance"},
		{"Capacity", "capacity"},
		{"capactiy", "capacity"},
		{"resistence", "resistance"},
		{"mx", "max"},
		{"mni", "min"},
		{"ω", "Ω"},
		{"voltage", ""},
		{"x", ""},
		{"", ""},
		{strings.Repeat("a", 1000), ""},
	}
	for _, tt := range tests {
		got, ok := diag.Nearest(tt.word, keys)
		assert.Equal(t, tt.want, got, tt.word)
		assert.Equal(t, tt.want != "", ok, tt.word)
	}
	_, ok := diag.Nearest("max", nil)
	assert.False(t, ok)
	assert.Equal(t, `did you mean "max"?`, diag.DidYouMean("mxa", keys))
	assert.Equal(t, "", diag.DidYouMean("voltage", keys))
}
