package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"hvproof/internal/carfolder"
	"hvproof/internal/quantity"
)

func newInstrumentCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "instrument",
		Short: "the meters at hand, their ranges and calibration",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return a.instruments(cmd.Context()) },
	}
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
