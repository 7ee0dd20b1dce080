package main

import (
	"embed"
	"fmt"
	"strings"

	"hvproof/internal/bundle"
	"hvproof/internal/entry"
	"hvproof/internal/formula"
	"hvproof/internal/plan"
	"hvproof/internal/procedure"
	"hvproof/internal/rules"
	"hvproof/internal/vehicle"
)

//go:embed formats
var formatTexts embed.FS

// formats gives the specifications of the file formats that help prints; they
// live beside the code that reads the formats.
func formats() map[string]string {
	return map[string]string{
		"log":       entry.Specification(),
		"formula":   formula.Grammar(),
		"plan":      packageComment(plan.Specification()),
		"procedure": packageComment(procedure.Specification()),
		"rules":     packageComment(rules.Specification()),
		"vehicle":   packageComment(vehicle.Specification()) + "\n" + vehicleFields(),
		"bundle":    bundle.Specification(),
		"answers":   formatText("answers"),
		"json":      formatText("json"),
	}
}

func formatText(name string) string {
	b, err := formatTexts.ReadFile("formats/" + name + ".txt")
	if err != nil {
		panic("the program was built without its text on " + name)
	}
	return string(b)
}

// packageComment takes the comment marks off a doc.go.
func packageComment(source string) string {
	var b strings.Builder
	for line := range strings.Lines(source) {
		text, ok := strings.CutPrefix(line, "//")
		if !ok {
			break
		}
		text = strings.TrimPrefix(text, " ")
		b.WriteString(strings.ReplaceAll(text, "\t", "  "))
	}
	return b.String()
}

// vehicleFields lists every field that a vehicle file may have.
func vehicleFields() string {
	var b strings.Builder
	b.WriteString("# Every field\n\n")
	for _, f := range vehicle.Fields() {
		fmt.Fprintf(&b, "%-44s %s\n", f.Path, f.Meaning)
	}
	return b.String()
}
