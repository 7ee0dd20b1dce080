package measure

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
)

// ParseInstruments reads what MarshalInstruments prints, and nothing else:
// the text is printed again and compared.
func ParseInstruments(text []byte) ([]Instrument, error) {
	if len(text) > MaxInstrumentsText {
		return nil, fmt.Errorf("instruments: %d bytes; at most %d are read", len(text), MaxInstrumentsText)
	}
	body, ok := strings.CutPrefix(string(text), firstLine+"\n")
	if !ok {
		return nil, fmt.Errorf("instruments: line 1: want %q", firstLine)
	}
	var r instrumentReader
	for n, line := range strings.SplitAfter(body, "\n") {
		if line == "" {
			break
		}
		if err := r.line(line); err != nil {
			return nil, fmt.Errorf("instruments: line %d: %w", n+2, err)
		}
	}
	again, err := MarshalInstruments(r.all)
	if err != nil {
		return nil, fmt.Errorf("instruments: %w", err)
	}
	if !bytes.Equal(again, text) {
		return nil, fmt.Errorf("instruments: line %d: not as it would be printed", differ(again, text))
	}
	return r.all, nil
}

// differ gives the first line in which two texts differ.
func differ(a, b []byte) int {
	n := 1
	for i := 0; i < len(a) && i < len(b) && a[i] == b[i]; i++ {
		if a[i] == '\n' {
			n++
		}
	}
	return n
}

type instrumentReader struct{ all []Instrument }

// line takes in one line; order and repetition are left to the comparison
// with the text printed again.
func (r *instrumentReader) line(line string) error {
	name, value, ok := strings.Cut(strings.TrimSuffix(line, "\n"), ": ")
	if !ok {
		return fmt.Errorf("want \"name: value\"")
	}
	if name == "instrument" {
		r.all = append(r.all, Instrument{ID: value})
		return nil
	}
	if len(r.all) == 0 {
		return fmt.Errorf("%q before the first instrument", name)
	}
	i := &r.all[len(r.all)-1]
	if known, err := i.set(name, value); known {
		return err
	}
	if len(i.Functions) == 0 {
		return fmt.Errorf("%q does not belong here", name)
	}
	f := &i.Functions[len(i.Functions)-1]
	if known, err := f.set(name, value); known {
		return err
	}
	if len(f.Ranges) == 0 {
		return fmt.Errorf("%q does not belong here", name)
	}
	if known, err := f.Ranges[len(f.Ranges)-1].set(name, value); known {
		return err
	}
	return fmt.Errorf("%q does not belong here", name)
}

func (i *Instrument) set(name, value string) (known bool, err error) {
	switch name {
	case "kind":
		i.Kind = value
	case "serial":
		i.Serial = value
	case "category":
		i.Category = value
	case "highest-voltage":
		return true, number(value, &i.MaxVoltage)
	case "calibrated-on":
		i.CalibratedOn = value
	case "calibrated-until":
		i.CalibratedUntil = value
	case "role":
		i.Roles = append(i.Roles, value)
	case "function":
		i.Functions = append(i.Functions, Function{Name: value})
	default:
		return false, nil
	}
	return true, nil
}

func (f *Function) set(name, value string) (known bool, err error) {
	switch name {
	case "  dimension":
		var ok bool
		if f.Dim, ok = parseDim(value); !ok {
			return true, fmt.Errorf("%q is not a dimension", value)
		}
	case "  method":
		f.Method = value
	case "  test-voltage":
		return true, number(value, &f.TestVoltage)
	case "  test-current":
		f.TestCurrentKnown = true
		return true, number(value, &f.TestCurrent)
	case "  input-resistance":
		return true, number(value, &f.InputResistance)
	case "  by-hand":
		f.ByHand = true
	case "  range":
		f.Ranges = append(f.Ranges, MeterRange{})
		return true, number(value, &f.Ranges[len(f.Ranges)-1].To)
	default:
		return false, nil
	}
	return true, nil
}

func (r *MeterRange) set(name, value string) (known bool, err error) {
	fields := map[string]*float64{
		"    from": &r.From, "    digit": &r.Digit, "    of-reading": &r.PercentOfReading,
		"    digits": &r.Digits, "    of-range": &r.PercentOfRange, "    fixed": &r.Fixed,
	}
	if into, ok := fields[name]; ok {
		return true, number(value, into)
	}
	return false, nil
}

func number(text string, into *float64) error {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return fmt.Errorf("%q is not a number", text)
	}
	*into = x
	return nil
}
