package main

import (
	"github.com/spf13/cobra"

	"hvproof/internal/diag"
)

// newRoot builds the command with all its subcommands, in the order in which
// a person meets them.
func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:   "hvproof",
		Short: "prove by measurement that a car's high-voltage system may be switched on",
		Long: `hvproof takes a car with a 60-1000 V battery through the measurements that must
be done before power comes on for the first time, before each event, and after
anybody has opened the HV system. Readings are compared with limits computed
from that car, the meter's own error counted, and kept as a signed log.

It is an aid to competent people. Local codes, the rule book in force, the
maker's instructions and licensed people come first.

EXIT STATUS
  0  all well (run: passed; ready: power may come on; verify: it all adds up)
  1  the answer is no (failed, refused, not ready, does not verify)
  2  the call or a file is wrong
  3  stopped before the end, can be resumed
  4  the machine failed (disk full, database busy, unreadable)`,
		Version:       version,
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          noArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.PersistentFlags().StringVarP(&a.dir, "directory", "C", "", "the car folder (default: found upwards from here)")
	root.PersistentFlags().BoolVar(&a.json, "json", false, "one JSON document on standard output")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return diag.Bad("see hvproof "+cmd.Name()+" --help", "%v", err)
	})
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetHelpCommand(newHelpCommand(a, root))
	for _, build := range []func(*app) *cobra.Command{
		newDemoCommand, newInitCommand, newCheckCommand, newLimitsCommand, newPlanCommand,
		newRunCommand, newResumeCommand, newReadyCommand,
		newReworkCommand, newItemCommand, newPermitCommand, newBaselineCommand, newJudgeCommand, newCompareCommand,
		newCaptureCommand, newLogCommand, newShowCommand, newReportCommand, newVerifyCommand,
		newBundleCommand, newCountersignCommand, newExportCommand,
		newBayCommand,
		newPersonCommand, newInstrumentCommand,
	} {
		root.AddCommand(build(a))
	}
	return root
}

// noArgs, exactArgs and mostArgs word cobra's complaint as an error of the
// call.
func noArgs(cmd *cobra.Command, args []string) error { return mostArgs(0)(cmd, args) }

func exactArgs(n int, names string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < n {
			return diag.Bad("usage: hvproof "+cmd.Use, "%s needs %s", cmd.Name(), names)
		}
		return mostArgs(n)(cmd, args)
	}
}

func mostArgs(n int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) <= n {
			return nil
		}
		if !cmd.HasParent() {
			names := []string{}
			for _, c := range cmd.Commands() {
				names = append(names, c.Name())
			}
			hint := "see hvproof --help"
			if near, ok := diag.Nearest(args[0], names); ok {
				hint = "did you mean " + near + "?"
			}
			return diag.Bad(hint, "there is no command %q", args[0])
		}
		return diag.Bad("usage: hvproof "+cmd.Use, "%q is one argument too many", args[n])
	}
}
