package plan

import (
	"fmt"
	"strconv"
	"strings"

	"hvproof/internal/can"
	"hvproof/internal/entry"
)

// signal prints what takes a number out of CAN frames.
func (w *printer) signal(s can.Signal) {
	kind, order, sign, bus := "standard", "little", "unsigned", s.Interface
	if s.Extended {
		kind = "extended"
	}
	if s.BigEndian {
		order = "big"
	}
	if s.Signed {
		sign = "signed"
	}
	if bus == "" {
		bus = "any"
	}
	values := []string{s.Name, s.IDText(), kind, bus, strconv.Itoa(s.Start), strconv.Itoa(s.Bits), order, sign,
		entry.FormatNumber(s.Scale), entry.FormatNumber(s.Offset), dimension(s.Dim)}
	for _, raw := range s.Invalid {
		values = append(values, strconv.FormatUint(raw, 10))
	}
	w.line("signal", values...)
}

// signal reads what signal prints. Parse compares the whole text afterwards,
// so words other than those above are refused there.
func (r *reader) signal() can.Signal {
	const fixed = 11
	f := strings.Split(r.must("signal"), " ")
	if r.err == nil && len(f) < fixed {
		r.failf("signal has %d values, at least %d wanted", len(f), fixed)
	}
	if r.err != nil {
		return can.Signal{}
	}
	for i := range f {
		f[i] = r.unescape(f[i])
	}
	id, err := strconv.ParseUint(f[1], 16, 32)
	if err != nil {
		r.failf("%q is not an identifier", f[1])
	}
	s := can.Signal{Name: f[0], ID: uint32(id), Extended: f[2] == "extended", Interface: f[3], Start: r.count(f[4]), Bits: r.count(f[5]),
		BigEndian: f[6] == "big", Signed: f[7] == "signed", Scale: r.number(f[8]), Offset: r.number(f[9]), Dim: r.dim(f[10])}
	if s.Interface == "any" {
		s.Interface = ""
	}
	s.Unit, _ = s.Dim.Unit()
	for _, text := range f[fixed:] {
		raw, err := strconv.ParseUint(text, 10, 64)
		if err != nil {
			r.failf("%q is not a count", text)
		}
		s.Invalid = append(s.Invalid, raw)
	}
	return s
}

// checkSignal says what is wrong with a signal, nil if nothing is.
func checkSignal(s can.Signal) error {
	if err := word("signal", s.Name); err != nil {
		return err
	}
	if s.Interface != "" {
		if err := word("signal "+s.Name+": interface", s.Interface); err != nil {
			return err
		}
	}
	if unit, _ := s.Dim.Unit(); unit != s.Unit {
		return fmt.Errorf("signal %s: unit %q, %q wanted", s.Name, s.Unit, unit)
	}
	return s.Check()
}
