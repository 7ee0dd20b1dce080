package bay

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/quantity"
)

// TestSpoken: numbers as they are read aloud in English; the words are those
// of ordinary usage, no source.
func TestSpoken(t *testing.T) {
	w := BuiltInWording()
	for _, c := range []struct{ digits, unit, want string }{
		{"45.4", "MΩ", "forty-five point four megohm"},
		{"201.6", "kΩ", "two hundred and one point six kilohm"},
		{"1.62", "MΩ", "one point six two megohm"},
		{"1.50", "V", "one point five zero volt"},
		{"0.02", "Ω", "zero point zero two ohm"},
		{"-362.4", "V", "minus three hundred and sixty-two point four volt"},
		{">2", "GΩ", "above two gigohm"},
		{"<0.01", "Ω", "below zero point zero one ohm"},
		{"0", "V", "zero volt"},
		{"10", "ms", "ten millisecond"},
		{"17", "N·m", "seventeen newton metre"},
		{"20", "s", "twenty second"},
		{"99", "V", "ninety-nine volt"},
		{"100", "V", "one hundred volt"},
		{"4032", "V", "four thousand and thirty-two volt"},
		{"12400", "Ω", "twelve thousand four hundred ohm"},
		{"1000000", "Ω", "one million ohm"},
		{"1000001", "Ω", "one million and one ohm"},
		{"999999999", "Ω", "nine hundred and ninety-nine million nine hundred and ninety-nine thousand nine hundred and ninety-nine ohm"},
		{"1234567890", "Ω", "one two three four five six seven eight nine zero ohm"},
		{"007", "V", "zero zero seven volt"},
		{"62", "%", "sixty-two percent"},
		{"3", "1", "three"},
	} {
		assert.Equal(t, c.want, w.spoken(c.digits, c.unit), c.digits)
	}
	assert.Equal(t, "four five Komma four megohm", comma(t).spoken("45.4", "MΩ"))
}

func TestPadReading(t *testing.T) {
	w := BuiltInWording()
	for _, c := range []struct {
		digits, unit string
		over         bool
		dim          quantity.Dim
		text, fault  string
	}{
		{"45.4", "MΩ", false, quantity.Ohm, "45.4 MΩ", ""},
		{".5", "V", false, quantity.Volt, "0.5 V", ""},
		{"-.5", "V", false, quantity.Volt, "-0.5 V", ""},
		{"−5.", "V", false, quantity.Volt, "-5 V", ""},
		{">2", "GΩ", false, quantity.Ohm, ">2 GΩ", ""},
		{"", "", true, quantity.Ohm, "OL", ""},
		{"-", "", true, quantity.Volt, "-OL", ""},
		{"3", "1", false, quantity.One, "3", ""},
		{"62", "%", false, quantity.One, "62 %", ""},
		{"17", "°C", false, quantity.Kelvin, "17 °C", ""},
		{"17", "lbf·ft", false, quantity.NewtonMetre, "17 lbf·ft", ""},
		{"4", "", true, quantity.Volt, "", "fault over and digits"},
		{"", "V", false, quantity.Volt, "", "fault no digits"},
		{"45.4", "", false, quantity.Ohm, "", "fault no unit"},
		{"45.4", "mohm", false, quantity.Ohm, "", "fault unit"},
		{"45.4", "V", false, quantity.Ohm, "", "fault unit"},
		{"45,4", "MΩ", false, quantity.Ohm, "", "fault comma"},
		{"4.5.4", "MΩ", false, quantity.Ohm, "", "fault digits"},
		{"45.4M", "Ω", false, quantity.Ohm, "", "fault digits"},
		{"4e3", "V", false, quantity.Volt, "", "fault digits"},
		{"5-4", "V", false, quantity.Volt, "", "fault digits"},
		{"-", "V", false, quantity.Volt, "", "fault digits"},
		{"٤", "V", false, quantity.Volt, "", "fault digits"},
	} {
		text, words, fault := w.padReading(c.digits, c.unit, c.over, c.dim)
		assert.Equal(t, c.text, text, c.digits)
		assert.Equal(t, c.fault, fault, c.digits)
		assert.Equal(t, c.fault == "", words != "")
		assert.True(t, fault == "" || w.has(fault))
	}
	text, words, fault := comma(t).padReading("45,4", "MΩ", false, quantity.Ohm)
	assert.Equal(t, []string{"45.4 MΩ", "four five Komma four megohm", ""}, []string{text, words, fault}, "shown back in canonical form")
	_, _, fault = comma(t).padReading("1.045,4", "Ω", false, quantity.Ohm)
	assert.Equal(t, "fault digits", fault, "a point for thousands is not guessed at")
}

// TestPadUnits: every key's unit is read as what it says, and can be spoken.
func TestPadUnits(t *testing.T) {
	w := BuiltInWording()
	for _, p := range padUnits {
		for _, u := range p.units {
			if u == plainUnit {
				continue
			}
			assert.True(t, w.has("say unit "+u), u)
			r, err := quantity.ParseReading("3 "+u, p.dim)
			require.NoError(t, err, u)
			assert.Equal(t, p.dim, r.Dim)
		}
	}
}

// TestPadIsRead: whatever the keys of a pad make is a reading for the
// machine, or is refused by the pad.
func TestPadIsRead(t *testing.T) {
	w := BuiltInWording()
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SampledFrom(padUnits).Draw(t, "dimension")
		unit := rapid.SampledFrom(p.units).Draw(t, "unit")
		digits := rapid.StringMatching(`[<>]?-?[0-9]{0,5}[.]?[0-9]{0,5}`).Draw(t, "digits")
		text, words, fault := w.padReading(digits, unit, false, p.dim)
		if fault != "" {
			return
		}
		_, err := quantity.ParseReading(text, p.dim)
		if err != nil && !strings.Contains(text, ">-") && !strings.Contains(text, "<-") {
			assert.ErrorContains(t, err, "absolute zero", text)
		}
		assert.NotContains(t, words, "?")
		assert.True(t, typedReading(text) && typedReading(text+", at the lug"), text)
		if unit != plainUnit {
			assert.Equal(t, []string{text + ": " + words}, w.numbersIn("read "+text+", at the lug"), "in a sentence it is spoken as on the pad")
		}
	})
}

// TestNumbersInSentences: every number with a unit is spoken, m and M apart.
// Names and spellings of units: SI Brochure, 9th edition, tables 2 to 4 and 7
// ("megohm" for MΩ is the trade's word; common practice).
func TestNumbersInSentences(t *testing.T) {
	w := BuiltInWording()
	for text, want := range map[string][]string{
		"5.8 N·m, no mark":                       {"5.8 N·m: five point eight newton metre"},
		"was 1.62mΩ, is 1.62 MΩ.":                {"1.62 mΩ: one point six two milliohm", "1.62 MΩ: one point six two megohm"},
		"45.4 Mohm, 5 Nm; 3 uF":                  {"45.4 MΩ: forty-five point four megohm", "5 N·m: five newton metre", "3 µF: three microfarad"},
		"by hand: latency.main_contactor 0.19 s": {"0.19 s: zero point one nine second"},
		"−70,4 V":                                {"−70,4 V: minus seventy point four volt"},
		"12 minutes, 3 Volts, M8, 2027-03-20":    nil,
		"20 °C, 5 %":                             {"20 °C: twenty degree Celsius", "5 %: five percent"},
	} {
		assert.Equal(t, want, w.numbersIn(text), text)
	}
	for _, text := range []string{"1.62 MΩ", ">2 GΩ, at the lug", "OL", "-OL, reversed", "5", "62 %"} {
		assert.True(t, typedReading(text), text)
	}
	for _, text := range []string{"", "1.62", "1.62 M", "1,62 MΩ", "about 1.62 MΩ", "1.62 MΩ at the lug", "OL V", "1.62  MΩ"} {
		assert.Equal(t, text == "1.62", typedReading(text), text)
	}
}

func FuzzPadReading(f *testing.F) {
	for _, s := range []string{"45.4", "-.5", ">2", "OL", "4e3", "1,5"} {
		f.Add(s, "MΩ")
	}
	w := BuiltInWording()
	f.Fuzz(func(t *testing.T, digits, unit string) {
		text, _, fault := w.padReading(digits, unit, false, quantity.Ohm)
		if fault == "" && (strings.ContainsAny(text, ",\n") || !strings.HasSuffix(text, " "+strings.TrimSpace(unit))) {
			t.Fatalf("%q %q became %q", digits, unit, text)
		}
	})
}
