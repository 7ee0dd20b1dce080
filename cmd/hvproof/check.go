package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
)

func newCheckCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "check",
		Short: "check every file of the car folder",
		Long: `Checks every file of the car folder and reports all faults, each with its place,
what is wrong and what would be right. Then says what arithmetic alone refuses:
every check of the design review, at the worst corner of the car's tolerances,
with its numbers.

EXIT STATUS
  0 no faults (there may be warnings), 1 desk checks refuse, 2 faults of files`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.check(cmd.Context()) },
	}
}

type problemDocument struct {
	File     string `json:"file"`
	Line     int    `json:"line,omitempty"`
	Column   int    `json:"column,omitempty"`
	Severity string `json:"severity"`
	Message  string `json:"message"`
	Hint     string `json:"hint,omitempty"`
}

// check reports every problem of every file.
func (a *app) check(ctx context.Context) error {
	dir, err := a.findFolder()
	if err != nil {
		return err
	}
	folder, problems := carfolder.Load(dir)
	refused := false
	if !slices.ContainsFunc(problems, faultOfCar) {
		_, desk := folder.Desk()
		now, err := a.time(ctx)
		if err != nil {
			return err
		}
		problems.Append(desk)
		problems.Append(folder.Protection(now))
		refused = slices.ContainsFunc(problems, func(p diag.Problem) bool { return p.Severity == diag.Refusal })
	}
	if a.json {
		docs := []problemDocument{}
		for _, p := range problems {
			docs = append(docs, problemJSON(p))
		}
		if err := a.document(map[string]any{"ok": !problems.Errors() && !refused, "problems": docs}); err != nil {
			return err
		}
	} else {
		a.printf("%s", problemLines(problems))
		a.printf("%s\n", summary(folder, problems))
	}
	switch {
	case problems.Errors():
		return errFaults
	case refused:
		return errNo
	}
	return nil
}

// faultOfCar reports a fault of the car's own file: then there is no car that
// anything could be refused of. Faults of other files hide no refusal.
func faultOfCar(p diag.Problem) bool {
	return p.Severity == diag.Fault && p.File == carfolder.VehicleFile
}

// errFaults ends check after the faults were printed.
var errFaults = &diag.Error{Class: diag.ClassBadInput}

func problemJSON(p diag.Problem) problemDocument {
	return problemDocument{File: p.File, Line: p.Line, Column: p.Column, Severity: p.Severity.String(), Message: p.Message, Hint: p.Hint}
}

// problemLines prints problems, each with its source line and a caret.
func problemLines(problems diag.List) string {
	var b strings.Builder
	for _, p := range problems {
		b.WriteString(p.Error())
		if p.Severity != diag.Fault {
			b.WriteString(" (" + p.Severity.String() + ")")
		}
		b.WriteString("\n")
		if x := p.Excerpt(); x != "" {
			b.WriteString(strings.TrimRight(x, "\n"))
			b.WriteString("\n")
		}
	}
	return b.String()
}

// faultyFiles is the error of a command that cannot go on with faulty files.
func faultyFiles(problems diag.List) error {
	problems.Sort()
	faults := slices.DeleteFunc(slices.Clone(problems), func(p diag.Problem) bool { return p.Severity != diag.Fault })
	return &diag.Error{Class: diag.ClassBadInput, Hint: "see them all with: hvproof check", Problems: problems,
		Message: "the car's files have faults:\n" + strings.TrimRight(problemLines(faults), "\n")}
}

// summary counts what was read and found.
func summary(folder *carfolder.Folder, problems diag.List) string {
	n := map[diag.Severity]int{}
	for _, p := range problems {
		n[p.Severity]++
	}
	out := fmt.Sprintf("%d files read, %d faults, %d warnings", len(folder.Files()), n[diag.Fault], n[diag.Warning])
	if n[diag.Refusal] > 0 {
		out += fmt.Sprintf(", %d refused at the desk", n[diag.Refusal])
	}
	return out
}
