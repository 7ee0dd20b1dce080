package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/quantity"
)

func codes(refusals []Refusal) []string {
	var out []string
	for _, r := range refusals {
		out = append(out, r.Code)
	}
	return out
}

func TestUsable(t *testing.T) {
	day := "2027-03-20"
	squib := func(current float64, known bool) Instrument {
		i := lowOhm()
		i.ID, i.CalibratedUntil = "squib-1", "2027-05-31"
		i.Functions[0].TestCurrent, i.Functions[0].TestCurrentKnown = current, known
		return i
	}
	change := func(i Instrument, f func(*Instrument)) Instrument { f(&i); return i }
	for _, c := range []struct {
		name string
		i    Instrument
		need Need
		want []string
	}{
		{"fit", voltmeter(), Need{Date: day, Voltage: 403.2}, nil},
		{"on the last day", voltmeter(), Need{Date: "2027-06-30", Voltage: 403.2}, nil},
		{"on the day after", voltmeter(), Need{Date: "2027-07-01"}, []string{CalibrationLapsed}},
		{"the demo's lapsed meter", lowOhm(), Need{Date: day}, []string{CalibrationLapsed}},
		{"before its calibration", voltmeter(), Need{Date: "2026-06-29"}, []string{CalibrationLater}},
		{"no date of the reading", voltmeter(), Need{}, []string{CalibrationLapsed}},
		{"a date that is none", voltmeter(), Need{Date: "2027-02-30"}, []string{CalibrationLapsed}},
		{"no calibration stated", change(voltmeter(), func(i *Instrument) { i.CalibratedUntil = "" }), Need{Date: day}, []string{CalibrationLapsed}},
		{"a category too low", change(voltmeter(), func(i *Instrument) { i.Category = "CAT II" }), Need{Date: day, Voltage: 403.2}, []string{CategoryLow}},
		{"a category that is none", change(voltmeter(), func(i *Instrument) { i.Category = "CAT V" }), Need{Date: day, Voltage: 403.2}, []string{CategoryLow}},
		{"a need that is no category", voltmeter(), Need{Date: day, Voltage: 403.2, Category: "CAT 9"}, []string{CategoryLow}},
		{"a higher category asked for", voltmeter(), Need{Date: day, Voltage: 403.2, Category: "CAT IV"}, []string{CategoryLow}},
		{"low voltage needs no category", change(voltmeter(), func(i *Instrument) { i.Category, i.MaxVoltage = "", 0 }), Need{Date: day, Voltage: 48}, nil},
		{"high voltage does", change(voltmeter(), func(i *Instrument) { i.Category, i.MaxVoltage = "", 0 }), Need{Date: day, Voltage: 61}, []string{CategoryLow, VoltageLow}},
		{"a voltage too low", change(voltmeter(), func(i *Instrument) { i.MaxVoltage = 403 }), Need{Date: day, Voltage: 403.2}, []string{VoltageLow}},
		{"a voltage just enough", change(voltmeter(), func(i *Instrument) { i.MaxVoltage = 403.2 }), Need{Date: day, Voltage: 403.2}, nil},
		{"an unknown voltage of the car", voltmeter(), Need{Date: day, Voltage: math.NaN()}, []string{VoltageLow}},
		{"a stopwatch touches nothing", watch(), Need{Date: day, Voltage: 403.2}, nil},
		{"another method", insulation(), Need{Date: day, Method: "two-voltage"}, []string{MethodDiffers}},
		{"the method", insulation(), Need{Date: day, Method: "joined-pole", MinTestVoltage: 500}, nil},
		{"a test voltage too low", insulation(), Need{Date: day, MinTestVoltage: 501}, []string{StimulusDiffers}},
		{"no test voltage", lowOhm(), Need{Date: "2026-12-31", MinTestVoltage: 100}, []string{StimulusDiffers}},
		{"0.2 A at 1 A", lowOhm(), Need{Date: "2026-12-31", MinTestCurrent: 1}, []string{StimulusDiffers}},
		{"0.2 A at 0.2 A", lowOhm(), Need{Date: "2026-12-31", MinTestCurrent: 0.2}, nil},
		{"5 mA through a pyro", squib(5e-3, true), Need{Date: day, MaxTestCurrent: 10e-3}, nil},
		{"10 mA through a pyro", squib(10e-3, true), Need{Date: day, MaxTestCurrent: 10e-3}, nil},
		{"too much through a pyro", squib(11e-3, true), Need{Date: day, MaxTestCurrent: 10e-3}, []string{TestCurrentHigh}},
		{"an unknown current through a pyro", squib(0, false), Need{Date: day, MaxTestCurrent: 10e-3}, []string{TestCurrentUnknown}},
		{"no current through a pyro is not known", squib(0, true), Need{Date: day, MaxTestCurrent: 10e-3}, []string{TestCurrentUnknown}},
		{"an unknown current where one is asked for", squib(0, false), Need{Date: day, MinTestCurrent: 0.2}, []string{StimulusDiffers}},
		{"a limit on the current that is no number", squib(5e-3, true), Need{Date: day, MaxTestCurrent: math.NaN()}, []string{TestCurrentHigh}},
		{"an input resistance", voltmeter(), Need{Date: day, MinInputResistance: 10e6}, nil},
		{"an input resistance too low", change(voltmeter(), func(i *Instrument) { i.Functions[0].InputResistance = 1e6 }), Need{Date: day, MinInputResistance: 10e6}, []string{InputResistanceLow}},
		{"no input resistance", change(voltmeter(), func(i *Instrument) { i.Functions[0].InputResistance = 0 }), Need{Date: day, MinInputResistance: 10e6}, []string{InputResistanceLow}},
		{"everything at once", lowOhm(), Need{Date: day, Voltage: 800, Method: "x", MinTestVoltage: 1, MinTestCurrent: 1, MaxTestCurrent: 1e-3}, []string{CalibrationLapsed, VoltageLow, MethodDiffers, StimulusDiffers, StimulusDiffers, TestCurrentHigh}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Usable(c.i, c.i.Functions[0], c.need)
			assert.Equal(t, c.want, codes(got))
			for _, r := range got {
				assert.Contains(t, r.Sentence, c.i.ID)
				assert.NotContains(t, r.Sentence, "%!")
			}
		})
	}
}

func TestFind(t *testing.T) {
	found, refusal := insulation().Find(quantity.Ohm, "joined-pole")
	require.Nil(t, refusal)
	assert.Len(t, found, 1)
	_, refusal = insulation().Find(quantity.Ohm, "two-voltage")
	require.NotNil(t, refusal)
	assert.Equal(t, Refusal{NoFunction, "insul-1 has no function that reads Ω by the two-voltage method"}, *refusal)
	_, refusal = watch().Find(quantity.Volt, "")
	require.NotNil(t, refusal)
	assert.Equal(t, NoFunction, refusal.Code)
}
