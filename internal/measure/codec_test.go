package measure

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/quantity"
)

const watchText = `hvproof instruments 1
instrument: watch-1
calibrated-until: 2027-11-02
function: stopwatch
  dimension: 0 0 1 0 0 0
  by-hand: yes
  range: 3600
    digit: 0.01
    fixed: 0.21
`

func TestInstrumentsText(t *testing.T) {
	text, err := MarshalInstruments([]Instrument{watch()})
	require.NoError(t, err)
	assert.Equal(t, watchText, string(text))

	all := demoInstruments()
	unknown := lowOhm()
	unknown.ID, unknown.Functions[0].TestCurrent, unknown.Functions[0].TestCurrentKnown = "lowohm-9", 0, false
	unknown.Functions[0].Ranges[0].From, unknown.Functions[0].Ranges[0].PercentOfRange = 0.1, 0.001
	all = append(all, unknown)
	text, err = MarshalInstruments(all)
	require.NoError(t, err)
	back, err := ParseInstruments(text)
	require.NoError(t, err)
	assert.Equal(t, all, back)

	empty, err := MarshalInstruments(nil)
	require.NoError(t, err)
	back, err = ParseInstruments(empty)
	require.NoError(t, err)
	assert.Empty(t, back)
}

func TestParseInstrumentsRefuses(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"another version":      {"instruments 1", "instruments 2", "line 1"},
		"a CR":                 {"watch-1\n", "watch-1\r\n", ""},
		"an order":             {"    digit: 0.01\n    fixed: 0.21\n", "    fixed: 0.21\n    digit: 0.01\n", "line 8: not as it would be printed"},
		"a line twice":         {"    digit: 0.01\n", "    digit: 0.01\n    digit: 0.01\n", "not as it would be printed"},
		"another number":       {"0.21", "0.210", "not as it would be printed"},
		"an exponent":          {"3600", "3.6e3", "not as it would be printed"},
		"a nought":             {"    digit: 0.01\n", "    digit: 0\n", ""},
		"a no":                 {"by-hand: yes", "by-hand: no", "not as it would be printed"},
		"NaN":                  {"0.21", "NaN", "cannot be NaN"},
		"infinity":             {"0.21", "Inf", "cannot be +Inf"},
		"negative":             {"0.21", "-0.21", "cannot be -0.21"},
		"an unknown name":      {"    fixed:", "    fixes:", "does not belong here"},
		"another indent":       {"    fixed:", "  fixed:", "does not belong here"},
		"no space":             {"fixed: ", "fixed:", "want \"name: value\""},
		"a wrong dimension":    {"0 0 1 0 0 0", "0 0 1 0 0", "not a dimension"},
		"an empty line":        {"function:", "\nfunction:", "want"},
		"no last line end":     {"fixed: 0.21\n", "fixed: 0.21", "not as it would be printed"},
		"a date that is none":  {"2027-11-02", "2027-11-31", "not a date"},
		"a value before":       {"instrument: watch-1\n", "", "before the first instrument"},
		"no accuracy":          {"    fixed: 0.21\n", "", "no accuracy"},
		"a hidden character":   {"watch-1", "watch\u202e-1", "cannot be printed"},
		"a number too large":   {"3600", strings.Repeat("9", 400), "not a number"},
		"two of the same name": {"    fixed: 0.21\n", "    fixed: 0.21\n" + strings.TrimPrefix(watchText, firstLine+"\n"), "two instruments"},
	} {
		t.Run(name, func(t *testing.T) {
			changed := strings.Replace(watchText, c.old, c.new, 1)
			require.NotEqual(t, watchText, changed)
			_, err := ParseInstruments([]byte(changed))
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.want)
		})
	}
	_, err := ParseInstruments(bytes.Repeat([]byte("x"), MaxInstrumentsText+1))
	require.ErrorContains(t, err, "at most")
}

func TestCheck(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*Instrument)
		want   string
	}{
		"no id":                   {func(i *Instrument) { i.ID = "" }, "no id"},
		"a line break":            {func(i *Instrument) { i.Serial = "a\nb" }, "cannot be printed"},
		"a space before":          {func(i *Instrument) { i.Kind = " a" }, "begins or ends with a space"},
		"broken text":             {func(i *Instrument) { i.Kind = "a\xffb" }, "cannot be printed"},
		"an empty role":           {func(i *Instrument) { i.Roles = []string{""} }, "role"},
		"a category":              {func(i *Instrument) { i.Category = "CAT 3" }, "CAT III"},
		"dates in reverse":        {func(i *Instrument) { i.CalibratedOn = "2028-01-01" }, "only until"},
		"a voltage":               {func(i *Instrument) { i.MaxVoltage = -1 }, "highest voltage"},
		"no ranges":               {func(i *Instrument) { i.Functions[0].Ranges = nil }, "no ranges"},
		"ranges out of order":     {func(i *Instrument) { i.Functions[0].Ranges[1].To = 6 }, "higher than the one before"},
		"a range to nought":       {func(i *Instrument) { i.Functions[0].Ranges[0].To = 0 }, "above nought"},
		"a range from its end":    {func(i *Instrument) { i.Functions[0].Ranges[0].From = 6 }, "where it begins"},
		"100 %":                   {func(i *Instrument) { i.Functions[0].Ranges[0].PercentOfReading = 1 }, "100 %"},
		"digits without a digit":  {func(i *Instrument) { i.Functions[0].Ranges[0].Digit = 0 }, "no digit is given"},
		"a digit above the range": {func(i *Instrument) { i.Functions[0].Ranges[0].Digit = 7 }, "larger than the range"},
		"a minus nought":          {func(i *Instrument) { i.Functions[0].Ranges[0].Fixed = math.Copysign(0, -1) }, "cannot be -0"},
		"by hand":                 {func(i *Instrument) { i.Functions[0].ByHand = true }, "by hand"},
		"a current half known":    {func(i *Instrument) { i.Functions[0].TestCurrent = 1 }, "given and unknown"},
		"a function twice":        {func(i *Instrument) { i.Functions = append(i.Functions, i.Functions[0]) }, "two functions"},
		"a function without name": {func(i *Instrument) { i.Functions[0].Name = "" }, "no name"},
	} {
		t.Run(name, func(t *testing.T) {
			i := voltmeter()
			require.NoError(t, i.Check())
			c.change(&i)
			require.ErrorContains(t, i.Check(), c.want)
			_, err := MarshalInstruments([]Instrument{i})
			require.Error(t, err)
		})
	}
}

func FuzzParseInstruments(f *testing.F) {
	f.Add([]byte(watchText))
	text, err := MarshalInstruments(demoInstruments())
	require.NoError(f, err)
	f.Add(text)
	f.Fuzz(func(t *testing.T, text []byte) {
		all, err := ParseInstruments(text)
		if err != nil {
			return
		}
		again, err := MarshalInstruments(all)
		require.NoError(t, err)
		require.Equal(t, string(text), string(again))
		for _, i := range all {
			for _, fn := range i.Functions {
				if _, _, err := fn.Read(quantity.Reading{SI: fn.Top(), Dim: fn.Dim}, nil); err != nil {
					t.Fatalf("%s of %s cannot show its own top: %v", fn.Name, i.ID, err)
				}
			}
		}
	})
}
