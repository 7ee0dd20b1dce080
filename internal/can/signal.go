package can

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"
)

// A Signal is a number in the frames of a CAN log.
type Signal struct {
	Name string
	// ID of the frame; Extended for one of 29 bits.
	ID       uint32
	Extended bool
	// Interface takes frames of one interface only ("can0"); "" of any.
	Interface string
	// Start is the first bit, counted as the package says.
	Start int
	// Bits is the length, 1 to 64.
	Bits      int
	BigEndian bool
	Signed    bool
	// Scale and Offset give the value: raw·Scale + Offset, in SI units of Dim.
	Scale, Offset float64
	Dim           quantity.Dim
	// Unit is for display.
	Unit string
	// Invalid lists raw values that mean "no value".
	Invalid []uint64
}

// LargestStandard is the largest identifier of 11 bits.
const LargestStandard = 0x7ff

// Check says what is wrong with a signal's definition, nil if nothing is.
func (s Signal) Check() error {
	wrong := func(hint, format string, a ...any) error {
		return diag.Bad(hint, "signal %q: %s", s.Name, fmt.Sprintf(format, a...))
	}
	switch {
	case s.Name == "":
		return diag.Bad("name it after what it is, such as dc_link", "a signal needs a name")
	case !s.Extended && s.ID > LargestStandard:
		return wrong("identifiers above 7FF are extended", "%X is no standard identifier", s.ID)
	case s.ID >= errorFrame:
		return wrong("29 bits at most", "%X is no identifier", s.ID)
	case s.Bits < 1 || s.Bits > 64:
		return wrong("1 to 64", "%d bits are no length", s.Bits)
	case s.Start < 0 || s.Start > 511 || !s.BigEndian && s.Start+s.Bits > 512 || s.BigEndian && s.lastByte() > 63:
		return wrong("a frame has 8 bytes, in CAN FD up to 64", "%d bits from bit %d do not lie in a frame", s.Bits, s.Start)
	case s.Scale == 0 || math.IsNaN(s.Scale) || math.IsInf(s.Scale, 0):
		return wrong("the value of one count, such as 0.1 V", "a scale of %g is none", s.Scale)
	case math.IsNaN(s.Offset) || math.IsInf(s.Offset, 0):
		return wrong("the value of count 0", "an offset of %g is none", s.Offset)
	}
	return nil
}

// String is "dc_link: 3A1, 16 bits from bit 0, little endian, 0.1 V a count".
func (s Signal) String() string {
	order, sign, at, bus, bits := "little", "", "", "", "bits"
	if s.Bits == 1 {
		bits = "bit"
	}
	if s.BigEndian {
		order = "big"
	}
	if s.Signed {
		sign = ", signed"
	}
	unit, _ := s.Dim.Unit()
	if s.Dim == quantity.One {
		unit = "(no unit)"
	}
	if s.Offset != 0 {
		at = fmt.Sprintf(", 0 stands for %s %s", strconv.FormatFloat(s.Offset, 'g', -1, 64), unit)
	}
	if s.Interface != "" {
		bus = " on " + s.Interface
	}
	return fmt.Sprintf("%s: %s%s, %d %s from bit %d, %s endian%s, %s %s a count%s", s.Name, s.IDText(), bus, s.Bits, bits, s.Start, order, sign,
		strconv.FormatFloat(s.Scale, 'g', -1, 64), unit, at)
}

// lastByte is the last byte that the signal needs.
func (s Signal) lastByte() int {
	if !s.BigEndian {
		return (s.Start + s.Bits - 1) / 8
	}
	// From its bit down to bit 0 of the first byte, then whole bytes.
	return s.Start/8 + (s.Bits-1+7-s.Start%8)/8
}

// raw takes the bits out of data; false if the frame is too short.
func (s Signal) raw(data []byte) (uint64, bool) {
	if s.lastByte() >= len(data) {
		return 0, false
	}
	x := uint64(0)
	if !s.BigEndian {
		for i := s.Bits - 1; i >= 0; i-- {
			bit := s.Start + i
			x = x<<1 | uint64(data[bit/8]>>(bit%8)&1)
		}
		return x, true
	}
	bit := s.Start/8*8 + 7 - s.Start%8 // counted from the front
	for i := range s.Bits {
		at := bit + i
		x = x<<1 | uint64(data[at/8]>>(7-at%8)&1)
	}
	return x, true
}

// Value gives the signal's value in a frame's data; false if the frame is too
// short or the raw value means "no value".
func (s Signal) Value(data []byte) (float64, bool) {
	x, ok := s.raw(data)
	if !ok || slices.Contains(s.Invalid, x) {
		return 0, false
	}
	v := float64(x)
	if s.Signed {
		v = float64(int64(x<<(64-s.Bits)) >> (64 - s.Bits))
	}
	return v*s.Scale + s.Offset, true
}

// In reports whether a frame is one that holds the signal.
func (s Signal) In(f *Frame) bool {
	return f.ID == s.ID && f.Extended == s.Extended && (s.Interface == "" || s.Interface == string(f.Bus))
}

// IDText is the identifier as logs write it.
func (s Signal) IDText() string {
	if s.Extended {
		return fmt.Sprintf("%08X", s.ID)
	}
	return fmt.Sprintf("%03X", s.ID)
}
