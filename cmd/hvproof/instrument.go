package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/quantity"
	"hvproof/internal/readiness"
)

func newInstrumentCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "instrument",
		Short: "the meters at hand, their ranges and calibration",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return a.instruments(cmd.Context()) },
	}
	var f readiness.MeterFault
	var by string
	wrong := &cobra.Command{
		Use:   "found-wrong ID",
		Short: "record that a meter was found wrong, and judge again what it has touched",
		Long: `Lists every result since the meter's last good check, and judges each again
with the error found: the meter showed FACTOR times the true value, plus OFFSET.
Without an error found, each is to be judged by people, and no proof that rests
on one holds.`,
		Args: exactArgs(1, "the instrument's id"),
		RunE: func(cmd *cobra.Command, args []string) error {
			says := func(flag string) bool { return cmd.Flags().Changed(flag) }
			switch {
			case says("offset") && !says("factor"):
				return diag.Bad("add --factor 1 where that is all, or leave --offset out", "--offset %g: without --factor it says nothing", f.Offset)
			case says("factor") && !f.Known():
				return diag.Bad("a number from 0.1 to 10, such as 1.02 for 2 % too much, and an offset in base units; where the error is not known, leave both out: the results are then judged by people",
					"--factor %g --offset %g: no meter is wrong in that way", f.Factor, f.Offset)
			}
			return a.foundWrong(cmd.Context(), args[0], by, f)
		},
	}
	wrong.Flags().StringVar(&f.Since, "since", "", "the day of its last good check; without it, all results")
	wrong.Flags().StringVar(&f.Function, "function", "", "only this function of it")
	wrong.Flags().StringVar(&f.Text, "text", "", "what was found, in a sentence")
	wrong.Flags().Float64Var(&f.Factor, "factor", 0, "what it shows for 1 of the true value, such as 1.02; from 0.1 to 10")
	wrong.Flags().Float64Var(&f.Offset, "offset", 0, "what it shows for nought, in base units")
	wrong.Flags().StringVar(&by, "by", "", "who signs")
	cmd.AddCommand(wrong)
	return cmd
}

type instrumentDocument struct {
	ID              string   `json:"id"`
	Kind            string   `json:"kind"`
	Serial          string   `json:"serial,omitempty"`
	Category        string   `json:"category,omitempty"`
	CalibratedUntil string   `json:"calibrated_until"`
	Lapsed          bool     `json:"lapsed"`
	Roles           []string `json:"roles"`
}

// instruments lists the meters of instruments.yaml.
func (a *app) instruments(ctx context.Context) error {
	dir, err := a.findFolder()
	if err != nil {
		return err
	}
	folder, problems := carfolder.Load(dir)
	if problems.Errors() {
		return faultyFiles(problems)
	}
	now, err := a.time(ctx)
	if err != nil {
		return err
	}
	today := now.Format(time.DateOnly)
	docs := []instrumentDocument{}
	for _, in := range folder.Instruments {
		lapsed := today > in.CalibratedUntil
		docs = append(docs, instrumentDocument{in.ID, in.Kind, in.Serial, in.Category, in.CalibratedUntil, lapsed, in.Roles})
		if a.json {
			continue
		}
		note := ""
		if lapsed {
			note = "  LAPSED: its readings cannot count"
		}
		a.printf("%s  %s, %s%s, calibrated until %s%s\n    %s\n", in.ID, in.Kind, in.Serial, commaBefore(in.Category), in.CalibratedUntil, note, strings.Join(in.Roles, ", "))
		for _, f := range in.Functions {
			a.printf("    %s", strings.ReplaceAll(f.Name, "_", " "))
			for _, r := range f.Ranges {
				a.printf("  to %s by %s", quantity.Value{SI: r.To, Dim: f.Dim}, quantity.Value{SI: r.Digit, Dim: f.Dim})
			}
			a.printf("\n")
		}
	}
	if a.json {
		return a.document(map[string]any{"instruments": docs})
	}
	return nil
}

func commaBefore(s string) string {
	if s == "" {
		return ""
	}
	return ", " + s
}
