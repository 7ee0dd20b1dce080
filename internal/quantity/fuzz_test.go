package quantity_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"hvproof/internal/quantity"
)

// seeds are what people write, right and wrong, at cars and in car files.
var seeds = []string{
	"4.7 kΩ", "4.7kohm", "1.02 mF ±10%", "47..53 Ω", "100 Ω/V", "12 V -10%/+20%", "12.5 lbf·ft", ">2 GΩ", "OL", "45.4 M",
	"42 Ah", "500 ms", "17 N·m ±10%", "3600 s", "200 A", "62 %", "17 °C", "1.1 mΩ ±20%", "2.4 mΩ ±25%", "40 nF ±20%",
	"1.7..2.3 Ω", "0.30 Ω ±20%", "412", "412 kΩ", "-362.4 V", "-OL", "1,02 mF", "1.02 mf", "12 000 V", "0x12", "NaN", "inf",
	"12 A²·s", "A²s", "5 s⁻¹", "3.3 V/ms", "47-53 Ω", "±5%", "1e30 V", "1e-30 V", "1e-9999 V", "４ V", "12 \u202EV", "12 \xffV", "\x00", "",
}

func checkError(t *testing.T, text string, err error) {
	var syntax *quantity.SyntaxError
	if !errors.As(err, &syntax) {
		t.Fatalf("%q: %v is no SyntaxError", text, err)
	}
	if syntax.Message == "" || syntax.Text != text || syntax.Offset < 0 || syntax.Offset > len(text) {
		t.Fatalf("%q: %+v", text, syntax)
	}
	for _, forbidden := range []string{"\n", "quantity.", "strconv", "big."} {
		if strings.Contains(syntax.Message+syntax.Hint, forbidden) && !strings.Contains(text, forbidden) {
			t.Fatalf("%q: message %q, hint %q", text, syntax.Message, syntax.Hint)
		}
	}
}

func checkNumber(t *testing.T, text string, x float64) {
	if size := math.Abs(x); x != 0 && !(size >= 1e-30 && size <= 1e30) || x == 0 && math.Signbit(x) {
		t.Fatalf("%q gives %v", text, x)
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, err := quantity.Parse(text)
		if err != nil {
			checkError(t, text, err)
			return
		}
		checkNumber(t, text, v.SI)
		printed := v.String()
		back, err := quantity.Parse(printed)
		if err != nil && math.Abs(v.SI) > 1.1e-30 && math.Abs(v.SI) < 0.9e30 {
			t.Fatalf("%q prints %q: %v", text, printed, err)
		}
		if err == nil && (back.Dim != v.Dim || math.Abs(back.SI-v.SI) > 5.01e-4*math.Abs(v.SI)) {
			t.Fatalf("%q prints %q, which is %v", text, printed, back.SI)
		}
	})
}

func FuzzParseRange(f *testing.F) {
	for _, s := range seeds {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		r, err := quantity.ParseRange(text)
		if err != nil {
			checkError(t, text, err)
			return
		}
		for _, x := range []float64{r.Lo, r.Nominal, r.Hi} {
			checkNumber(t, text, x)
		}
		if !(r.Lo <= r.Nominal && r.Nominal <= r.Hi) || r.Text != text {
			t.Fatalf("%q gives %+v", text, r)
		}
		if v, err := quantity.Parse(text); err == nil && (!r.Exact() || v != r.Value()) {
			t.Fatalf("%q is %+v as a value and %+v as a range", text, v, r)
		}
	})
}

func FuzzParseReading(f *testing.F) {
	for _, s := range seeds {
		for i := range uint8(5) {
			f.Add(s, i)
		}
	}
	dims := []quantity.Dim{quantity.Ohm, quantity.Volt, quantity.Kelvin, quantity.NewtonMetre, quantity.One, quantity.SquareMetre, quantity.AmpereSquareSecond}
	f.Fuzz(func(t *testing.T, text string, i uint8) {
		dim := dims[int(i)%len(dims)]
		r, err := quantity.ParseReading(text, dim)
		if err != nil {
			checkError(t, text, err)
			return
		}
		checkNumber(t, text, r.SI)
		if r.Dim != dim || r.Text != text || r.OverRange != (r.Digit == 0) || r.OverRange && (r.SI != 0 || r.Side == quantity.Exact) {
			t.Fatalf("%q gives %+v", text, r)
		}
		// The same text as a value must be the same value.
		if v, err := quantity.Parse(text); err == nil && (v.Dim != dim || v.SI != r.SI) && r.UnitTyped {
			t.Fatalf("%q is %v as a value and %v as a reading", text, v.SI, r.SI)
		}
	})
}
