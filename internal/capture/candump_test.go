package capture

import (
	"math"
	"strings"
	"testing"

	"hvproof/internal/can"
	"hvproof/internal/diag"
	"hvproof/internal/quantity"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// link is the signal of the examples.
var link = can.Signal{Name: "dc_link", ID: 0x3a1, Start: 0, Bits: 16, Scale: 0.1, Dim: quantity.Volt, Unit: "V"}

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
	w, err := Read(strings.NewReader(canText), Options{Name: "bus.log", Signals: []can.Signal{link}})
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
	w, err := Read(strings.NewReader(text), Options{Signals: []can.Signal{
		{Name: "u", Interface: "can0", ID: 0x100, Bits: 16, Scale: 1, Dim: quantity.Volt},
		{Name: "i", ID: 0x200, Start: 23, Bits: 16, BigEndian: true, Signed: true, Scale: 0.5, Offset: 3, Dim: quantity.Ampere},
	}})
	require.NoError(t, err)
	assert.Equal(t, []float64{10, 20}, w.Channels[0].V)
	assert.Equal(t, []float64{2}, w.Channels[1].V)
	assert.NotSame(t, w.Channels[0].Axis, w.Channels[1].Axis)
	assert.Equal(t, 0.005, w.Channels[1].Axis.At(0))
}

func TestCandumpRefused(t *testing.T) {
	with := func(f func(*can.Signal)) Options {
		s := link
		f(&s)
		return Options{Name: "bus.log", Signals: []can.Signal{s}}
	}
	same := func(*can.Signal) {}
	for _, c := range []struct {
		name, text, want, hint string
		opt                    Options
	}{
		{"no signal", canText, "bus.log: a candump log holds frames, and nothing says which bits are which signal", "3A1 (5 frames", Options{Name: "bus.log"}},
		{"other frame", canText, "bus.log: no frame holds dc_link (123)", "the log holds 3A1", with(func(s *can.Signal) { s.ID = 0x123 })},
		{"appended", canText + canText, "bus.log:10: the time runs backwards here: the log holds 2 recordings", "--recording", with(same)},
		{"junk", "(1.0) can0 3A1#8A0E\nxyz\n(2.0) can0 3A1#8A0E\n", `bus.log:2: "xyz" is no frame, between frames`, "candump -l", with(same)},
		{"long id", canText, `signal "dc_link": 800 is no standard identifier`, "extended", with(func(s *can.Signal) { s.ID = 0x800 })},
		{"bits", canText, `signal "dc_link": 65 bits are no length`, "64", with(func(s *can.Signal) { s.Bits = 65 })},
		{"beyond", canText, `signal "dc_link": 16 bits from bit 511 do not lie in a frame`, "64", with(func(s *can.Signal) { s.Start = 511 })},
		{"scale", canText, `signal "dc_link": a scale of 0 is none`, "0.1 V", with(func(s *can.Signal) { s.Scale = 0 })},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Read(strings.NewReader(c.text), c.opt)
			require.EqualError(t, err, c.want)
			assert.Contains(t, diag.HintOf(err), c.hint)
			assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
		})
	}
	w, err := Read(strings.NewReader(canText+canText), Options{Recording: 2, Signals: []can.Signal{link}})
	require.NoError(t, err)
	assert.Equal(t, NoteRecordings, w.Notes[0].Code)
	assert.Equal(t, 0.0, w.Channels[0].Axis.At(0))
}

// A log that ends inside a frame: "8A" may be the beginning of "8A0E".
func TestCandumpCut(t *testing.T) {
	w, err := Read(strings.NewReader("(1.0) can0 3A1#8A0E\n(2.0) can0 3A1#8A0E"), Options{Signals: []can.Signal{link}})
	require.NoError(t, err)
	assert.Len(t, w.Channels[0].V, 1)
	assert.Equal(t, NoteCutShort, w.Notes[0].Code)
}

// Signals of one frame share their times; one that the log does not hold is
// said, and no reason to refuse the others.
func TestCandumpOneFrame(t *testing.T) {
	other, absent := link, link
	other.Name, other.Start = "pack", 16
	absent.Name, absent.ID = "coil", 0x123
	w, err := Read(strings.NewReader("(0.00) can0 3A1#0A001400\n(0.01) can0 3A1#0B001500\n(0.02) can0 3A1#0C001600\n"),
		Options{Signals: []can.Signal{link, other, absent}})
	require.NoError(t, err)
	require.Len(t, w.Channels, 2)
	assert.Same(t, w.Channels[0].Axis, w.Channels[1].Axis)
	assert.InDeltaSlice(t, []float64{2, 2.1, 2.2}, w.Channels[1].V, 1e-12)
	assert.Equal(t, 0.01, w.Channels[1].Axis.Step)
	said := false
	for _, n := range w.Notes {
		said = said || strings.Contains(n.Sentence, `no frame holds "coil" (123); the log holds 3A1 (3 frames of 4 bytes)`)
	}
	assert.True(t, said, "%v", w.Notes)
}
