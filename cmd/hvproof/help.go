package main

import (
	"sort"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/diag"
)

// newHelpCommand gives help for commands, and prints the specifications of
// the file formats.
func newHelpCommand(a *app, root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND or FORMAT]",
		Short: "help for a command, or a format's specification: " + strings.Join(formatNames(), ", "),
		Args:  mostArgs(2),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return root.Help()
			}
			if text, ok := formats()[args[0]]; ok && len(args) == 1 {
				a.printf("%s", text)
				return nil
			}
			cmd, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 || cmd == root {
				names := formatNames()
				for _, c := range root.Commands() {
					names = append(names, c.Name())
				}
				hint := "formats: " + strings.Join(formatNames(), ", ")
				if near, ok := diag.Nearest(args[0], names); ok {
					hint = "did you mean " + near + "?"
				}
				return diag.Bad(hint, "there is no help for %q", strings.Join(args, " "))
			}
			return cmd.Help()
		},
	}
}

func formatNames() []string {
	var names []string
	for name := range formats() {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}
