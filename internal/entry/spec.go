package entry

import (
	_ "embed"
	"fmt"
	"strings"
)

//go:embed spec.txt
var specText string

// Specification returns the specification of the entry format, for people:
// spec.txt followed by the kinds with their fields.
func Specification() string {
	var b strings.Builder
	b.WriteString(specText)
	for _, k := range kindOrder {
		fmt.Fprintf(&b, "%s\n", k)
		for _, spec := range kinds[k] {
			name := spec.Name + map[Need]string{Required: "", Optional: " ?", Numbered: " N"}[spec.Need]
			what := spec.Type.String()
			if spec.Type == Word {
				what = strings.Join(spec.Words, " | ")
			}
			fmt.Fprintf(&b, "    %-20s  %s\n", name, what)
		}
	}
	return b.String()
}
