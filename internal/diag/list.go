package diag

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// List collects problems. The zero List is empty and ready to use.
type List []Problem

// Errorf adds a fault at a place. The hint says what would be right.
func (l *List) Errorf(at Place, hint, format string, a ...any) {
	l.Add(Problem{Place: at, Severity: Fault, Message: fmt.Sprintf(format, a...), Hint: hint})
}

// Warnf adds a warning at a place.
func (l *List) Warnf(at Place, hint, format string, a ...any) {
	l.Add(Problem{Place: at, Severity: Warning, Message: fmt.Sprintf(format, a...), Hint: hint})
}

// Add adds one problem as it is.
func (l *List) Add(p Problem) { *l = append(*l, p) }

// Append adds all problems of another list.
func (l *List) Append(other List) { *l = append(*l, other...) }

// Errors reports whether the list holds a fault, not only warnings.
func (l List) Errors() bool {
	return slices.ContainsFunc(l, func(p Problem) bool { return p.Severity == Fault })
}

// Sort orders the list by file, line and column; problems at one place keep
// their order. Of problems with the same place, severity and message the
// first stays.
func (l *List) Sort() {
	slices.SortStableFunc(*l, func(a, b Problem) int {
		return cmp.Or(
			cmp.Compare(a.File, b.File),
			cmp.Compare(a.Line, b.Line),
			cmp.Compare(a.Column, b.Column),
		)
	})
	type identity struct {
		Place
		Severity Severity
		Message  string
	}
	seen := make(map[identity]bool, len(*l))
	*l = slices.DeleteFunc(*l, func(p Problem) bool {
		id := identity{p.Place, p.Severity, p.Message}
		twice := seen[id]
		seen[id] = true
		return twice
	})
}

// Err gives the list as an *Error of class ClassBadInput that carries all
// problems, or nil if none of them is a fault.
func (l List) Err() error {
	if !l.Errors() {
		return nil
	}
	faults := 0
	for _, p := range l {
		if p.Severity == Fault {
			faults++
		}
	}
	if faults == 1 {
		i := slices.IndexFunc(l, func(p Problem) bool { return p.Severity == Fault })
		p := l[i]
		hint := p.Hint
		p.Hint = ""
		return &Error{Class: ClassBadInput, Message: p.Error(), Hint: hint, Problems: l}
	}
	return &Error{Class: ClassBadInput, Message: fmt.Sprintf("%d faults in the files", faults), Problems: l}
}

// String gives one problem a line.
func (l List) String() string {
	var b strings.Builder
	for _, p := range l {
		b.WriteString(p.Error())
		b.WriteByte('\n')
	}
	return b.String()
}

// ProblemsOf gives the problems that an error carries, nil if it has none.
func ProblemsOf(err error) List {
	var e *Error
	for errors.As(err, &e) {
		if e.Problems != nil {
			return e.Problems
		}
		err = e.Err
	}
	return nil
}
