package can

import (
	"encoding/binary"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

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
	v, ok := Signal{Start: 7, Bits: 16, BigEndian: true, Signed: true, Scale: 0.5}.Value(data)
	require.True(t, ok)
	assert.Equal(t, -1.0, v)
}
