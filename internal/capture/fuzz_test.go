package capture

import (
	"bytes"
	"errors"
	"os"
	"testing"

	"hvproof/internal/can"
	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// FuzzRead: any bytes are either a waveform that holds together, or an error
// with a sentence. Nothing panics, nothing hangs, and memory is bounded by
// the file.
func FuzzRead(f *testing.F) {
	for _, folder := range []string{"good", "bad"} {
		entries, err := os.ReadDir("testdata/" + folder)
		require.NoError(f, err)
		for _, e := range entries {
			b, err := os.ReadFile("testdata/" + folder + "/" + e.Name())
			require.NoError(f, err)
			f.Add(b, uint8(0))
			f.Add(b, uint8(7))
		}
	}
	f.Add([]byte(canText), uint8(8))
	f.Fuzz(func(t *testing.T, b []byte, how uint8) {
		opt := Options{Name: "x", MaxValues: 1 << 16, Workers: int(how%3) + 1}
		if how&4 != 0 {
			opt.Interval, opt.NoTime = 1e-3, true
		}
		if how&8 != 0 {
			opt.Signals = []can.Signal{link}
		}
		if how&16 != 0 {
			opt.Delimiter, opt.Decimal = ";", ","
		}
		if how&32 != 0 {
			opt.Recording = 1
		}
		w, err := Read(bytes.NewReader(b), opt)
		if err != nil {
			var e *diag.Error
			require.True(t, errors.As(err, &e), "%T", err)
			require.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
			require.NotEmpty(t, err.Error())
			return
		}
		whole(t, w)
		values := 0
		for _, ch := range w.Channels {
			values += len(ch.V)
		}
		assert.LessOrEqual(t, values, 1<<16)
		assert.NotEmpty(t, w.Detected.String())
		// The same with one parser, and without a known length.
		opt.Workers = 1
		again, err := Read(struct{ *bytes.Buffer }{bytes.NewBuffer(b)}, opt)
		require.NoError(t, err)
		require.Equal(t, summary(w), summary(again))
	})
}
