package measure

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/quantity"
)

// firstLine is the version of the text.
const firstLine = "hvproof instruments 1"

// MaxInstrumentsText is the largest text that ParseInstruments reads, bytes.
const MaxInstrumentsText = 1 << 20

// MarshalInstruments gives the text of instruments, the only one there is:
// UTF-8, a first line "hvproof instruments 1", then one "name: value" a line
// in fixed order, indented by two spaces for a function and four for a
// range. What is not stated has no line. Numbers are SI, the shortest plain
// decimal that gives the same float64 back. It is an error if Check finds
// one, or if two instruments have one id.
func MarshalInstruments(all []Instrument) ([]byte, error) {
	p := printer{}
	p.line("", firstLine)
	seen := map[string]bool{}
	for _, i := range all {
		if err := i.Check(); err != nil {
			return nil, err
		}
		if seen[i.ID] {
			return nil, fmt.Errorf("two instruments are named %s", i.ID)
		}
		seen[i.ID] = true
		p.instrument(i)
	}
	return p.Bytes(), nil
}

type printer struct{ bytes.Buffer }

func (p *printer) line(indent, text string) {
	p.WriteString(indent + text + "\n")
}

func (p *printer) text(indent, name, value string) {
	if value != "" {
		p.line(indent, name+": "+value)
	}
}

func (p *printer) number(indent, name string, x float64) {
	if x != 0 {
		p.text(indent, name, strconv.FormatFloat(x, 'f', -1, 64))
	}
}

func (p *printer) instrument(i Instrument) {
	p.text("", "instrument", i.ID)
	p.text("", "kind", i.Kind)
	p.text("", "serial", i.Serial)
	p.text("", "category", i.Category)
	p.number("", "highest-voltage", i.MaxVoltage)
	p.text("", "calibrated-on", i.CalibratedOn)
	p.text("", "calibrated-until", i.CalibratedUntil)
	for _, role := range i.Roles {
		p.text("", "role", role)
	}
	for _, f := range i.Functions {
		p.function(f)
	}
}

func (p *printer) function(f Function) {
	const in = "  "
	p.text("", "function", f.Name)
	p.text(in, "dimension", dimText(f.Dim))
	p.text(in, "method", f.Method)
	p.number(in, "test-voltage", f.TestVoltage)
	if f.TestCurrentKnown {
		p.text(in, "test-current", strconv.FormatFloat(f.TestCurrent, 'f', -1, 64))
	}
	p.number(in, "input-resistance", f.InputResistance)
	if f.ByHand {
		p.text(in, "by-hand", "yes")
	}
	for _, r := range f.Ranges {
		p.meterRange(r)
	}
}

func (p *printer) meterRange(r MeterRange) {
	const in = "    "
	p.text("  ", "range", strconv.FormatFloat(r.To, 'f', -1, 64))
	p.number(in, "from", r.From)
	p.number(in, "digit", r.Digit)
	p.number(in, "of-reading", r.PercentOfReading)
	p.number(in, "digits", r.Digits)
	p.number(in, "of-range", r.PercentOfRange)
	p.number(in, "fixed", r.Fixed)
}

// dimText prints a dimension as six exponents: kg, m, s, A, K, rad.
func dimText(d quantity.Dim) string {
	return fmt.Sprintf("%d %d %d %d %d %d", d.Mass, d.Length, d.Time, d.Current, d.Temperature, d.Angle)
}

func parseDim(text string) (d quantity.Dim, ok bool) {
	words := strings.Split(text, " ")
	into := []*int8{&d.Mass, &d.Length, &d.Time, &d.Current, &d.Temperature, &d.Angle}
	if len(words) != len(into) {
		return d, false
	}
	for n, w := range words {
		x, err := strconv.ParseInt(w, 10, 8)
		if err != nil {
			return d, false
		}
		*into[n] = int8(x)
	}
	return d, true
}
