package capture

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// readNumber reads text as the block parser does.
func readNumber(text string, mark byte, shift int) (x float64, length int, ok bool) {
	b := append([]byte(text), "\n\n\n\n\n\n\n\n\n"...)
	n, next, ok := scan(b, 0, mark)
	if !ok {
		return 0, 0, false
	}
	x, exact := n.float(shift)
	if !exact {
		if x, ok = parseFloat(b[:next], shift); !ok {
			return 0, next, false
		}
	}
	return x, next, true
}

func TestNumbers(t *testing.T) {
	for _, text := range []string{
		"0", "-0", "+0.0", "0e500", "-0e-500", "1", "5.", ".5", "361.9", "-362.41", "+3.9E-01", "1.00E-02",
		"0.1", "0.12345678", "0.123456789", "0.1234567890123456789", "123456789012345678901234567890",
		"9007199254740992", "9007199254740993", "1805536931.125000", "2.2250738585072011e-308", "4.9e-324",
		"1e22", "1e23", "1e-22", "1e-23", "8.5e21", "179769313486231570000e288", "9.9E37", "00012.50",
	} {
		want, err := strconv.ParseFloat(text, 64)
		require.NoError(t, err, text)
		got, length, ok := readNumber(text, '.', 0)
		require.True(t, ok, text)
		assert.Equal(t, len(text), length, text)
		assert.Equal(t, math.Float64bits(want), math.Float64bits(got), "%s: want %v, got %v", text, want, got)
	}
	for _, text := range []string{"", "-", ".", "+.", "e5", "1e", "1e+", "x", "1e400", "\xb5"} {
		_, _, ok := readNumber(text, '.', 0)
		assert.False(t, ok, text)
	}
}

// The same bits as strconv for the decimal that was written, in any unit.
func TestNumbersAsStrconv(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[+-]?[0-9]{0,22}(\.[0-9]{0,22})?([eE][+-]?[0-9]{1,3})?`).Draw(t, "text")
		shift := rapid.SampledFrom([]int{0, 0, 0, -3, -6, -9, 3, 6}).Draw(t, "shift")
		sameBits(t, text, shift)
	})
}

type failer interface{ Fatalf(string, ...any) }

func sameBits(t failer, text string, shift int) {
	mantissa, exp, _ := strings.Cut(strings.ToLower(text), "e")
	e, _ := strconv.Atoi(exp)
	want, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(e+shift), 64)
	for _, mark := range []byte{'.', ','} {
		got, length, ok := readNumber(strings.ReplaceAll(text, ".", string(mark)), mark, shift)
		switch {
		case ok != (err == nil):
			t.Fatalf("%q: strconv says %v, got %v", text, err, ok)
		case ok && length != len(text):
			t.Fatalf("%q: took %d of %d characters", text, length, len(text))
		case ok && math.Float64bits(got) != math.Float64bits(want):
			t.Fatalf("%q·10^%d: want %v, got %v", text, shift, want, got)
		}
	}
}

func FuzzNumber(f *testing.F) {
	f.Add("361.9", -3)
	f.Add("9007199254740993", 0)
	f.Add("0.00000000000000000001234567", 6)
	f.Add("12345678.87654321E-5", 0)
	f.Fuzz(func(t *testing.T, text string, shift int) {
		if len(text) > 400 || strings.Trim(text, "0123456789+-.eE") != "" || shift < -30 || shift > 30 {
			return
		}
		if _, err := strconv.ParseFloat(text, 64); err != nil {
			return // what is no number is FuzzRead's
		}
		if _, exp, found := strings.Cut(strings.ToLower(text), "e"); found && len(exp) > 4 {
			return
		}
		sameBits(t, text, shift)
	})
}
