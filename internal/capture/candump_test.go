package capture

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"hvproof/internal/diag"
	"hvproof/internal/quantity"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// link is the signal of the examples.
var link = Signal{Name: "dc_link", ID: 0x3a1, Start: 0, Bits: 16, Scale: 0.1, Dim: quantity.Volt, Unit: "V"}

const canText = `(1805536931.125000) can0 3A1#8A0E2C01
(1805536931.126000) can0 18FF50E5#11.22 T
(1805536931.135000) can0 3A1#8B0E R
(1805536931.145000) can0 3A1##18C0E00
(1805536931.146000) can0 3A1#R
(1805536931.147000) can0 3A1#R4
(1805536931.148000) can0 20000080#0000000000000000 R
(1805536931.155000) can0 3A1#8D0E000000000000_9
(1805536931.165000) can1 3A1#FF
`

func TestCandump(t *testing.T) {
	w, err := Read(strings.NewReader(canText), Options{Name: "bus.log", Signals: []Signal{link}})
	require.NoError(t, err, diag.HintOf(err))
	require.Len(t, w.Channels, 1)
	ch := w.Channels[0]
	assert.Equal(t, "candump", w.Detected.Format)
	assert.Equal(t, "1805536931.125000000", w.Detected.Origin)
	assert.Equal(t, quantity.Volt, ch.Dim)
	assert.InDeltaSlice(t, []float64{372.2, 372.3, 372.4, 372.5}, ch.V[:4], 1e-9)
	assert.True(t, math.IsNaN(ch.V[4]), "too short a frame is no value")
	require.Len(t, ch.Missing, 1)
	assert.Equal(t, [2]int{4, 5}, [2]int{ch.Missing[0].From, ch.Missing[0].To})
	assert.Equal(t, "FF", ch.Missing[0].Text)
	assert.True(t, ch.Axis.Regular())
	assert.Equal(t, 0.01, ch.Axis.Step)
	var codes []string
	for _, n := range w.Notes {
		codes = append(codes, n.Code)
	}
	assert.Equal(t, []string{NoteErrorFrames, NoteMissing, NoteShort}, codes)
	whole(t, w)
}

func TestCandumpTwoSignals(t *testing.T) {
	text := "(0.000000) can0 100#0A00\n(0.001000) can1 100#FF00\n(0.005000) can0 200#0000FFFE\n(0.010000) can0 100#1400\n"
	w, err := Read(strings.NewReader(text), Options{Signals: []Signal{
		{Name: "u", Interface: "can0", ID: 0x100, Bits: 16, Scale: 1, Dim: quantity.Volt},
		{Name: "i", ID: 0x200, Start: 23, Bits: 16, BigEndian: true, Signed: true, Scale: 0.5, Offset: 3, Dim: quantity.Ampere},
	}})
	require.NoError(t, err)
	assert.Equal(t, []float64{10, 20}, w.Channels[0].V)
	assert.Equal(t, []float64{2}, w.Channels[1].V)
	assert.Equal(t, 0.005, w.Channels[1].Axis.At(0))
}

func TestCandumpRefused(t *testing.T) {
	with := func(f func(*Signal)) Options {
		s := link
		f(&s)
		return Options{Name: "bus.log", Signals: []Signal{s}}
	}
	same := func(*Signal) {}
	for _, c := range []struct {
		name, text, want, hint string
		opt                    Options
	}{
		{"no signal", canText, "bus.log: a candump log holds frames, and nothing says which bits are which signal", "3A1 (5 frames", Options{Name: "bus.log"}},
		{"other frame", canText, "bus.log: no frame holds dc_link (123)", "the log holds 3A1", with(func(s *Signal) { s.ID = 0x123 })},
		{"appended", canText + canText, "bus.log:10: the time runs backwards here: the log holds 2 recordings", "--recording", with(same)},
		{"junk", "(1.0) can0 3A1#8A0E\nxyz\n(2.0) can0 3A1#8A0E\n", `bus.log:2: "xyz" is no frame, between frames`, "candump -l", with(same)},
		{"long id", canText, `signal "dc_link": 800 is no standard identifier`, "extended", with(func(s *Signal) { s.ID = 0x800 })},
		{"bits", canText, `signal "dc_link": 65 bits are no length`, "64", with(func(s *Signal) { s.Bits = 65 })},
		{"beyond", canText, `signal "dc_link": 16 bits from bit 511 do not lie in a frame`, "64", with(func(s *Signal) { s.Start = 511 })},
		{"scale", canText, `signal "dc_link": a scale of 0 is none`, "0.1 V", with(func(s *Signal) { s.Scale = 0 })},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read(strings.NewReader(c.text), c.opt)
			require.EqualError(t, err, c.want)
			assert.Contains(t, diag.HintOf(err), c.hint)
			assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
		})
	}
	w, err := Read(strings.NewReader(canText+canText), Options{Recording: 2, Signals: []Signal{link}})
	require.NoError(t, err)
	assert.Equal(t, NoteRecordings, w.Notes[0].Code)
	assert.Equal(t, 0.0, w.Channels[0].Axis.At(0))
}

// A log that ends inside a frame: "8A" may be the beginning of "8A0E".
func TestCandumpCut(t *testing.T) {
	w, err := Read(strings.NewReader("(1.0) can0 3A1#8A0E\n(2.0) can0 3A1#8A0E"), Options{Signals: []Signal{link}})
	require.NoError(t, err)
	assert.Len(t, w.Channels[0].V, 1)
	assert.Equal(t, NoteCutShort, w.Notes[0].Code)
}

// Bits put into a frame come out of it.
func TestSignalBits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Signal{Name: "x", Bits: rapid.IntRange(1, 64).Draw(t, "bits"), Scale: 1, BigEndian: rapid.Bool().Draw(t, "big"),
			Start: rapid.IntRange(0, 511).Draw(t, "start")}
		if s.Check() != nil {
			return
		}
		want := rapid.Uint64().Draw(t, "raw") & (math.MaxUint64 >> (64 - s.Bits))
		data := make([]byte, 64)
		for i := range s.Bits {
			if want>>i&1 == 0 {
				continue
			}
			if at := s.Start + i; !s.BigEndian {
				data[at/8] |= 1 << (at % 8)
			} else { // the least bit is last
				at := s.Start/8*8 + 7 - s.Start%8 + s.Bits - 1 - i
				data[at/8] |= 0x80 >> (at % 8)
			}
		}
		got, ok := s.raw(data[:s.lastByte()+1])
		if !ok || got != want {
			t.Fatalf("%+v: want %x, got %x, %v", s, want, got, ok)
		}
		if _, ok := s.raw(data[:s.lastByte()]); ok {
			t.Fatalf("%+v: read from too short a frame", s)
		}
	})
	data := binary.BigEndian.AppendUint16(nil, 0xfffe)
	v, ok := Signal{Start: 7, Bits: 16, BigEndian: true, Signed: true, Scale: 0.5}.value(data)
	require.True(t, ok)
	assert.Equal(t, -1.0, v)
}
