package main

import (
	"errors"
	"io/fs"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"hvproof/internal/capture"
	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// readFlags say how a file is to be read where it does not say so itself.
type readFlags struct {
	delimiter, interval        string
	timeColumn, timeUnit       string
	decimalComma, decimalPoint bool
	noTime, samples            bool
	recording                  int
	units, scales, zeros       []string
}

func (f *readFlags) add(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.delimiter, "delimiter", "", `what stands between values: ",", ";", tab, space or "|"`)
	flags.BoolVar(&f.decimalComma, "decimal-comma", false, "the decimal mark is a comma")
	flags.BoolVar(&f.decimalPoint, "decimal-point", false, "the decimal mark is a point")
	flags.StringVar(&f.timeColumn, "time-column", "", "name or number, from 1, of the time column")
	flags.StringVar(&f.timeUnit, "time-unit", "", "unit of the time column: s, ms, µs, ns, min or h")
	flags.StringVar(&f.interval, "interval", "", "time between samples, of a file without times: 50 µs")
	flags.BoolVar(&f.noTime, "no-time", false, "no column is a time")
	flags.BoolVar(&f.samples, "samples", false, "two samples of one time are samples, not least and greatest value")
	flags.IntVar(&f.recording, "recording", 0, "which recording of a file with several, from 1")
	flags.StringArrayVar(&f.units, "unit", nil, "COLUMN=UNIT")
	flags.StringArrayVar(&f.scales, "scale", nil, "COLUMN=VALUE of one count")
	flags.StringArrayVar(&f.zeros, "zero", nil, "COLUMN=COUNT at zero")
}

// options gives what the reader is told.
func (f *readFlags) options(name string) (capture.Options, error) {
	opt := capture.Options{Name: name, Delimiter: f.delimiter, TimeColumn: f.timeColumn, TimeUnit: f.timeUnit, NoTime: f.noTime, Samples: f.samples, Recording: f.recording}
	switch {
	case f.decimalComma && f.decimalPoint:
		return opt, diag.Bad("give one of the two", "the decimal mark is either a comma or a point")
	case f.decimalComma:
		opt.Decimal = ","
	case f.decimalPoint:
		opt.Decimal = "."
	}
	if f.interval != "" {
		v, err := quantity.Parse(f.interval)
		if err != nil || v.Dim != quantity.Second || v.SI <= 0 {
			return opt, diag.Bad("write it as 50 µs", "%q is not a time between samples", f.interval)
		}
		opt.Interval = v.SI
	}
	var err error
	if opt.Units, err = pairs("--unit", "COLUMN=V", f.units); err != nil {
		return opt, err
	}
	if opt.Scales, err = numbers("--scale", f.scales); err != nil {
		return opt, err
	}
	opt.Offsets, err = numbers("--zero", f.zeros)
	return opt, err
}

// pairs reads NAME=VALUE arguments; nil where there are none.
func pairs(flag, form string, texts []string) (map[string]string, error) {
	if len(texts) == 0 {
		return nil, nil
	}
	out := map[string]string{}
	for _, text := range texts {
		name, value, ok := strings.Cut(text, "=")
		name, value = strings.TrimSpace(name), strings.TrimSpace(value)
		if _, twice := out[name]; !ok || name == "" || value == "" || twice {
			return nil, diag.Bad("write it as "+form+", each once", "%s: %q is not to be understood", flag, text)
		}
		out[name] = value
	}
	return out, nil
}

// numbers reads NAME=NUMBER arguments, the number with or without a unit.
func numbers(flag string, texts []string) (map[string]float64, error) {
	given, err := pairs(flag, "COLUMN=0.2", texts)
	if err != nil || given == nil {
		return nil, err
	}
	out := map[string]float64{}
	for name, text := range given {
		x, err := strconv.ParseFloat(text, 64)
		if err != nil {
			v, err := quantity.Parse(text)
			if err != nil {
				return nil, diag.Bad("write it as COLUMN=0.2", "%s: %q is not a number", flag, text)
			}
			x = v.SI
		}
		out[name] = x
	}
	return out, nil
}

// progressFrom is the size of a file from which its reading is followed.
const progressFrom = 50 << 20

// readWaveform reads a capture file, with progress where it is long.
func (a *app) readWaveform(name string, opt capture.Options) (*capture.Waveform, error) {
	file, err := os.Open(name)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, diag.Bad("name a file that is there", "%s: there is no such file", name)
	case err != nil:
		return nil, diag.Bad("", "%v", err)
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil || info.IsDir() {
		return nil, diag.Bad("name a file", "%s is not a file", name)
	}
	if info.Size() >= progressFrom {
		last := int64(0)
		opt.Progress = func(done int64) {
			if tenth := done * 10 / info.Size(); tenth > last && tenth < 10 {
				last = tenth
				a.sayf("read %d %% of %d MB", tenth*10, info.Size()>>20)
			}
		}
	}
	return capture.Read(file, opt)
}
