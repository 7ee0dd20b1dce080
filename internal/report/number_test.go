package report

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"hvproof/internal/quantity"
)

// GUM, JCGM 100:2008, 7.2.6: U with two digits at most, the value to the same
// place; U is rounded up here, so that it never claims too much.
func TestValueWithItsUncertainty(t *testing.T) {
	for _, c := range []struct {
		x, u float64
		dim  quantity.Dim
		want string
	}{
		{362.2, 2.011, quantity.Volt, "362.2 V ± 2.1 V"},
		{45.4e6, 1.862e6, quantity.Ohm, "45.4 MΩ ± 1.9 MΩ"},
		{201649, 6012, quantity.Ohm, "201.6 kΩ ± 6.1 kΩ"},
		{-0.31, 0.00355, quantity.Volt, "-310 mV ± 3.6 mV"},
		{0, 0.002, quantity.Volt, "0 V ± 2 mV"},
		{0.001, 5, quantity.Volt, "1 mV ± 5 V"},
		{60, 0, quantity.Volt, "60 V"},
		{60, math.Inf(1), quantity.Volt, "60 V"},
		{60, math.NaN(), quantity.Volt, "60 V"},
	} {
		assert.Equal(t, c.want, value(c.x, c.u, c.dim))
	}
}

// What is one-sided is rounded to the side that claims less, a range outward.
func TestRoundingClaimsNothing(t *testing.T) {
	assert.Equal(t, "above 1.99999 GΩ", beyond("above", 1.9999999e9, quantity.Ohm))
	assert.Equal(t, "below 10.0001 mΩ", beyond("below", 0.01000001, quantity.Ohm))
	assert.Equal(t, "59.2999 V to 80.1101 V", span(59.29999, 80.11001, quantity.Volt))
	assert.Equal(t, "60 V", span(60, 60, quantity.Volt))
}

func TestOrdinal(t *testing.T) {
	for n, want := range map[int]string{1: "1st", 2: "2nd", 3: "3rd", 4: "4th", 11: "11th", 12: "12th", 13: "13th", 21: "21st", 111: "111th", 122: "122nd"} {
		assert.Equal(t, want, ordinal(n))
	}
}

// Remarks that differ only in the end of their sentence are one line; nothing
// of them is left out.
func TestRemarksTogether(t *testing.T) {
	got := lines([]Remark{
		{Entry: 5, Code: "input-changed", Sentence: "run 5 against run 1: a"},
		{Entry: 5, Code: "input-changed", Sentence: "run 5 against run 1: b"},
		{Entry: 5, Code: "input-changed", Sentence: "run 5 against run 2: c"},
		{Entry: 6, Code: "input-changed", Sentence: "run 5 against run 2: d"},
		{Entry: 6, Code: "abandoned-run", Sentence: "no end"},
		{Entry: 6, Code: "abandoned-run", Sentence: "no end"},
		{Log: "hvproof/a/b/c", Entry: 6, Code: "loss", Sentence: "gone"},
	})
	assert.Equal(t, []string{
		"entry 5, input-changed: run 5 against run 1: a; b",
		"entry 5, input-changed: run 5 against run 2: c",
		"entry 6, input-changed: run 5 against run 2: d",
		"entry 6, abandoned-run: no end",
		"entry 6, abandoned-run: no end",
		"entry 6 of hvproof/a/b/c, loss: gone",
	}, got)
}
