package diag

import (
	"errors"
	"fmt"
)

// Class says which kind of end an error is; it decides the exit code.
type Class int

const (
	// ClassNo: the answer is no (failed, not ready, does not verify, refused).
	ClassNo Class = 1
	// ClassBadInput: the call or a file is wrong.
	ClassBadInput Class = 2
	// ClassStopped: stopped before the end, can be resumed.
	ClassStopped Class = 3
	// ClassMachine: the machine failed (disk full, database busy, unreadable).
	ClassMachine Class = 4
)

// ExitCode gives the exit code of the class, 1 to 4; an unknown class is a
// failure of the machine, 4.
func (c Class) ExitCode() int {
	if c < ClassNo || c > ClassMachine {
		return int(ClassMachine)
	}
	return int(c)
}

// Error is what a command, or a part of it, ends with.
type Error struct {
	Class Class
	// Message says what is wrong, Hint what would be right.
	Message, Hint string
	// Err is the cause, nil if there is none.
	Err error
	// Problems are the faults of files that led here.
	Problems List
}

// Error gives "message: cause" without the hint.
func (e *Error) Error() string {
	switch {
	case e.Err == nil:
		return e.Message
	case e.Message == "":
		return e.Err.Error()
	}
	return e.Message + ": " + e.Err.Error()
}

// Unwrap gives the cause.
func (e *Error) Unwrap() error { return e.Err }

// No makes an error of class ClassNo. Of all four makers the format may hold
// one %w; that error is then the cause and stays in the message.
func No(hint, format string, a ...any) *Error { return build(ClassNo, hint, format, a) }

// Bad makes an error of class ClassBadInput.
func Bad(hint, format string, a ...any) *Error { return build(ClassBadInput, hint, format, a) }

// Stopped makes an error of class ClassStopped.
func Stopped(hint, format string, a ...any) *Error { return build(ClassStopped, hint, format, a) }

// Machine makes an error of class ClassMachine.
func Machine(hint, format string, a ...any) *Error { return build(ClassMachine, hint, format, a) }

func build(c Class, hint, format string, a []any) *Error {
	err := fmt.Errorf(format, a...)
	if errors.Unwrap(err) == nil {
		return &Error{Class: c, Message: err.Error(), Hint: hint}
	}
	return &Error{Class: c, Hint: hint, Err: err}
}

// ClassOf gives the class of the first *Error or fault in the chain of err
// that has one. A Problem or a List with faults is ClassBadInput; anything
// unknown is ClassMachine. It is 0 for nil.
func ClassOf(err error) Class {
	if err == nil {
		return 0
	}
	var e *Error
	for next := err; errors.As(next, &e); next = e.Err {
		if e.Class != 0 {
			return e.Class
		}
	}
	var p Problem
	if errors.As(err, &p) {
		return ClassBadInput
	}
	return ClassMachine
}

// HintOf gives the first hint in the chain of err, "" if there is none.
func HintOf(err error) string {
	var e *Error
	for errors.As(err, &e) {
		if e.Hint != "" {
			return e.Hint
		}
		err = e.Err
	}
	var p Problem
	if errors.As(err, &p) {
		return p.Hint
	}
	return ""
}
