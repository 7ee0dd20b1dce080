package report

import (
	"fmt"
	"strings"

	"hvproof/internal/entry"
	"hvproof/internal/measure"
	"hvproof/internal/plan"
	"hvproof/internal/quantity"
	"hvproof/internal/run"
)

// meters name the instruments of an answer with what makes them count: one, or
// of a waveform those that recorded its channels.
func (c *course) meters(s *plan.Step, b entry.Body) []string {
	var out []string
	for _, id := range run.Instruments(b) {
		out = append(out, c.meter(s, b, id))
	}
	if channels := b.Family("recorder"); len(channels) > 0 {
		out = append(out, "recorded by: "+strings.Join(channels, "; "))
	}
	if d, ok := b.Number("division"); ok && d > 0 {
		out = append(out, "read off a screen, "+number(d, s.Dim)+" to the division")
	}
	return out
}

func (c *course) meter(s *plan.Step, b entry.Body, id string) string {
	out := id + " (not among the instruments of the run)"
	for _, in := range c.m.Start().Meters {
		if in.ID == id {
			out = fmt.Sprintf("%s, %s, serial %s, %s", in.ID, in.Kind, sentence(in.Serial, "not stated"), calibration(in))
			out += stimulus(in, b.Text("function"))
		}
	}
	if id != b.Text("instrument") {
		return out
	}
	if name := b.Text("function"); name != "" {
		out += "; function " + name
	}
	if r := b.Text("range"); r != "" {
		out += ", range " + r
	}
	if d, ok := b.Number("digit"); ok && d > 0 {
		out += ", digit " + number(d, s.Dim)
	}
	return out
}

func calibration(in measure.Instrument) string {
	switch {
	case in.CalibratedUntil == "":
		return "calibration not stated"
	case in.CalibratedOn == "":
		return "calibrated until " + in.CalibratedUntil
	}
	return "calibrated on " + in.CalibratedOn + " until " + in.CalibratedUntil
}

// stimulus gives what a function puts through the part under test.
func stimulus(in measure.Instrument, name string) string {
	for _, f := range in.Functions {
		if f.Name != name {
			continue
		}
		out := ""
		if f.TestVoltage > 0 {
			out += ", test voltage " + number(f.TestVoltage, quantity.Volt)
		}
		if f.TestCurrentKnown && f.TestCurrent > 0 {
			out += ", test current " + number(f.TestCurrent, quantity.Ampere)
		}
		return out
	}
	return ""
}
