package main

import (
	"os"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/capture"
	"hvproof/internal/capture/feature"
	"hvproof/internal/carfolder"
	"hvproof/internal/diag"
	"hvproof/internal/measure"
	"hvproof/internal/quantity"
	"hvproof/internal/vehicle"
)

// captureFlags is what a call says about a file.
type captureFlags struct {
	kind, plot            string
	channels, instruments []string
	read                  readFlags
}

func newCaptureCommand(a *app) *cobra.Command {
	f := &captureFlags{}
	cmd := &cobra.Command{
		Use:   "capture FILE | capture PRECHARGE DISCHARGE",
		Short: "numbers and faults out of a waveform",
		Long: `Takes a file as it came off a scope, a logger or a CAN interface, says how it was
read, finds the events, fits the physics, and gives numbers with their uncertainty
and findings in plain sentences. Nothing is recorded.

Two files are a pre-charge and a discharge of the same DC link, judged together: each
alone cannot tell another resistor from another capacitance, both can.

It works without a car folder. Inside one it compares with the car's data, and
--instrument gives each channel the accuracy of one of its instruments.

KINDS
  precharge      the link's rise: dc_link, pack, main_contactor, precharge_relay, current
  discharge      its fall: dc_link, main_contactor
  emergency_off  from the trip to the dead link: trip, coil, main_contactor, current, dc_link
  sharing        currents of parallel packs: current.NAME for each
  coil           pull-in and drop-out: coil or current

EXIT STATUS
  0 analysed, with or without findings; 2 a file that cannot be read, or only in two ways`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				return mostArgs(2)(cmd, args)
			}
			return exactArgs(1, "a file, or a pre-charge and a discharge")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 2 {
				return a.captures(args[0], args[1], f)
			}
			return a.capture(args[0], f)
		},
	}
	cmd.Flags().StringVar(&f.kind, "kind", "", "what is looked for: "+strings.Join(feature.Kinds(), ", "))
	cmd.Flags().StringArrayVar(&f.channels, "channel", nil, "ROLE=COLUMN: which column is which")
	cmd.Flags().StringArrayVar(&f.instruments, "instrument", nil, "[ROLE=]ID: which instrument recorded it")
	cmd.Flags().StringVar(&f.plot, "plot", "", "draw it into this SVG file")
	f.read.add(cmd)
	return cmd
}

// A captured is one file with what was found in it.
type captured struct {
	name string
	w    *capture.Waveform
	*feature.Analysis
}

// capture analyses one file.
func (a *app) capture(name string, f *captureFlags) error {
	folder, err := a.captureFolder(f)
	if err != nil {
		return err
	}
	c, err := a.captured(name, f.kind, folder, f)
	if err != nil {
		return err
	}
	if f.plot != "" {
		if err := writePlot(f.plot, name, c.w, c.Analysis); err != nil {
			return err
		}
	}
	if a.json {
		return a.document(captureJSON(c.w, c.Analysis))
	}
	a.printCapture(c)
	return nil
}

// captured reads one file and analyses it as a kind; "" takes it for what it
// shows.
func (a *app) captured(name, kind string, folder *carfolder.Folder, f *captureFlags) (*captured, error) {
	opt, err := f.read.options(name)
	if err != nil {
		return nil, err
	}
	if folder != nil {
		opt.Signals = folder.Vehicle.Signals()
	}
	w, err := a.readWaveform(name, opt)
	if err != nil {
		return nil, err
	}
	r := feature.Request{Kind: kind}
	if r.Channels, err = pairs("--channel", "ROLE=COLUMN", f.channels); err != nil {
		return nil, err
	}
	if folder != nil {
		r.Car = carOf(folder.Vehicle)
		if r.Instruments, err = recorders(folder, f.instruments); err != nil {
			return nil, err
		}
	}
	if r.Kind == "" {
		if r.Kind = feature.Guess(w, r); r.Kind == "" {
			return nil, diag.Bad("say with --kind: "+strings.Join(feature.Kinds(), ", "), "%s: what it shows is not known", name)
		}
		a.sayf("taken as %s; --kind says otherwise", r.Kind)
	}
	found, err := feature.Analyse(w, r)
	return &captured{name, w, found}, err
}

// captureFolder loads the car folder, where there is one without faults.
func (a *app) captureFolder(f *captureFlags) (*carfolder.Folder, error) {
	dir, err := a.findFolder()
	switch {
	case err != nil && (a.dir != "" || len(f.instruments) > 0):
		return nil, err
	case err != nil:
		return nil, nil
	}
	folder, problems := carfolder.Load(dir)
	if problems.Errors() {
		if a.dir != "" || len(f.instruments) > 0 {
			return nil, faultyFiles(problems)
		}
		a.warnf("the car folder has faults, so nothing is compared with the car; hvproof check lists them")
		return nil, nil
	}
	return folder, nil
}

// carOf takes from a vehicle what captures are compared with.
func carOf(v *vehicle.Vehicle) *feature.Car {
	packs, _, _ := v.Collection("packs")
	return feature.NewCar(packs, func(name string) (quantity.Range, bool) {
		if r, _, ok := v.Value(name); ok {
			return r, true
		}
		r, err := v.DerivedValue(name)
		return r, err == nil
	})
}

// recorders finds the instruments that a call names.
func recorders(folder *carfolder.Folder, named []string) (map[string]measure.Instrument, error) {
	out := map[string]measure.Instrument{}
	var ids []string
	for _, in := range folder.Instruments {
		ids = append(ids, in.ID)
	}
	for _, text := range named {
		role, id, both := strings.Cut(text, "=")
		if !both {
			role, id = "", text
		}
		found := false
		for _, in := range folder.Instruments {
			if in.ID == id {
				out[role], found = in, true
			}
		}
		if !found {
			hint := "instruments.yaml has " + strings.Join(ids, ", ")
			if near, ok := diag.Nearest(id, ids); ok {
				hint = "did you mean " + near + "?"
			}
			return nil, diag.Bad(hint, "there is no instrument %q", id)
		}
	}
	return out, nil
}

// writePlot draws a capture into an SVG file.
func writePlot(path, title string, w *capture.Waveform, found *feature.Analysis) error {
	file, err := os.Create(path)
	if err != nil {
		return diag.Machine("", "writing the plot: %v", err)
	}
	err = feature.Chart(found.Kind+", "+title, w, found).Draw(640, 420).SVG(file)
	if closed := file.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return diag.Machine("", "writing the plot: %v", err)
	}
	return nil
}
