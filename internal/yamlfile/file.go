package yamlfile

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"hvproof/internal/diag"
)

const (
	// MaxSize is the largest file that is read, in bytes.
	MaxSize = 1 << 20
	// MaxDepth is how deep maps and lists may be nested.
	MaxDepth = 64
	// maxProblems is how many faults of one file are told.
	maxProblems = 100
)

// File is one YAML file.
type File struct {
	// Name is the name for messages, as given to Parse.
	Name string
	// Bytes is the whole file, Digest its SHA-256.
	Bytes  []byte
	Digest [32]byte
	// Root is the document; nil if the file could not be read.
	Root *Node

	lines    []string
	problems diag.List
}

// Parse reads a file's bytes. The File is never nil; its Root is nil when the
// bytes are not YAML, and then Decode gives the same faults again, so that
// they cannot get lost. The list is sorted.
func Parse(name string, b []byte) (*File, diag.List) {
	f := &File{Name: name, Bytes: b, Digest: sha256.Sum256(b)}
	if len(b) > MaxSize {
		f.problems.Errorf(diag.Place{File: name}, "", "is larger than %d bytes (1 MiB), too large for such a file", MaxSize)
		return f, f.problems
	}
	if text, ok := f.decodeText(b); ok {
		f.lines = splitLines(text)
		if f.checkCharacters(text); !f.problems.Errors() {
			f.parse(text)
		}
	}
	f.problems.Sort()
	f.problems = capped(f.problems, name)
	return f, append(diag.List(nil), f.problems...)
}

// Read reads a file of at most MaxSize bytes; of a larger one it reads
// MaxSize+1 bytes and no more. A failure of the reader is a fault of the
// list as well.
func Read(name string, r io.Reader) (*File, diag.List) {
	var b bytes.Buffer
	if _, err := b.ReadFrom(io.LimitReader(r, MaxSize+1)); err != nil {
		f := &File{Name: name}
		f.problems.Errorf(diag.Place{File: name}, "", "cannot be read: %v", err)
		return f, append(diag.List(nil), f.problems...)
	}
	return Parse(name, b.Bytes())
}

// capped leaves the first faults of a file that has very many.
func capped(list diag.List, name string) diag.List {
	if more := len(list) - maxProblems; more > 0 {
		list = list[:maxProblems]
		list.Errorf(diag.Place{File: name}, "", "has %d faults more", more)
	}
	return list
}

// Line gives line n of the file, counted from 1, without its line break; ""
// if there is none.
func (f *File) Line(n int) string {
	if n < 1 || n > len(f.lines) {
		return ""
	}
	return f.lines[n-1]
}

// Problem makes a fault at a place of this file, with the source line and
// span characters marked.
func (f *File) Problem(at diag.Place, span int, hint, format string, a ...any) diag.Problem {
	at.File = f.Name
	return diag.Problem{
		Place: at, Severity: diag.Fault, Message: fmt.Sprintf(format, a...), Hint: hint,
		Source: f.Line(at.Line), Span: span,
	}
}

// At makes a fault at a scalar, all of its first line marked.
func (f *File) At(s Scalar, hint, format string, a ...any) diag.Problem {
	return f.Problem(s.At, s.span(), hint, format, a...)
}

// Inside makes a fault at a part of a scalar's text: span characters from
// byte offset on. Where the text does not stand in the file character for
// character (see Scalar.Direct), the whole scalar is marked.
func (f *File) Inside(s Scalar, offset, span int, hint, format string, a ...any) diag.Problem {
	if !s.Direct || offset < 0 || offset > len(s.Text) {
		return f.At(s, hint, format, a...)
	}
	at := s.At
	at.Column += utf8.RuneCountInString(s.Text[:offset])
	return f.Problem(at, span, hint, format, a...)
}

// OneLine reports, as a fault, a scalar whose text does not stand in the file
// character for character in one line, so that places in it could not be
// shown. what names it in the message: "a formula".
func (f *File) OneLine(s Scalar, what string) diag.List {
	if s.Direct {
		return nil
	}
	return diag.List{f.At(s, "write it in one line, without quotes or in simple ones", "%s must stand in one line, as it is", what)}
}

func splitLines(text string) []string {
	lines := strings.Split(strings.ReplaceAll(text, "\r\n", "\n"), "\n")
	for i, l := range lines {
		lines[i] = strings.TrimSuffix(l, "\r")
	}
	return lines
}
