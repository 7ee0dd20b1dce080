package capture

import (
	"math"
	"strings"
	"testing"

	"hvproof/internal/can"
	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// over and gone stand for samples that are no numbers: beyond the range, and
// not known at all.
var over, gone = math.Inf(1), math.NaN()

// fieldShapes has one invented file of each shape that instruments in the
// field write, with what a person reads in it: the times and values of the
// last channel, in s and SI units, worked out by hand. Where a file can be
// read in two ways, refused is what must be asked.
var fieldShapes = []struct {
	shape, text string
	opt         Options
	times, want []float64
	refused     string
}{
	{shape: "plain", text: "Time,CH1\n-0.01,0.4\n-0.009,0.5\n", times: []float64{-0.01, -0.009}, want: []float64{0.4, 0.5}},
	{shape: "plain without a header", text: "-0.01,0.4\n-0.009,0.5\n-0.008,0.7\n", times: []float64{-0.01, -0.009, -0.008}, want: []float64{0.4, 0.5, 0.7}},
	{shape: "unit row, exponents with a sign", text: "x-axis,1\nsecond,Volt\n-1.00E-02,+3.9E-01\n-0.90E-02,+4.0E-01\n", times: []float64{-0.01, -0.009}, want: []float64{0.39, 0.4}},
	{shape: "preamble", text: "Model,Q4\nSample Interval,5.0E-05\nRecord Length,2\n,,\nTIME,CH1,CH2\n0.0,1.5,2.5\n0.00005,1.6,2.75\n", times: []float64{0, 5e-5}, want: []float64{2.5, 2.75}},
	{shape: "preamble of keys with units", text: "Model,Q4\nDate,2027-03-20\nSample Interval,1E-03,s\nTrigger Point,1,pts\nVertical Scale,50,V/div\nProbe Ratio,100\nVertical Units,V\n\nTime,CH1\n-0.001,0.5\n0.0,3.5\n", times: []float64{-0.001, 0}, want: []float64{0.5, 3.5}},
	{shape: "preamble in the left columns", text: "Record Length,2,,-0.1,0.4\nSample Interval,0.1,,0.0,0.5\n,,,0.1,0.7\n", times: []float64{-0.1, 0, 0.1}, want: []float64{0.4, 0.5, 0.7}},
	{shape: "interval in the header, no time", text: "Source;CH1\ndt;0,00005\nt0;-0,01\n0,391\n0,402\n", times: []float64{-0.01, -0.00995}, want: []float64{0.391, 0.402}},
	{shape: "values only, increment in the header", text: "XINC,4.0E-06\nYUNIT,V\n0.25\n0.50\n", times: []float64{0, 4e-6}, want: []float64{0.25, 0.5}},
	{shape: "values only, no interval", text: "0.25\n0.50\n0.75\n", refused: "no sample interval"},
	{shape: "counts, what one is worth in the header", text: "YMULT,0.5\nYzero,128\nYunit,V\nXINC,1E-3\n131\n133\n", times: []float64{0, 1e-3}, want: []float64{1.5, 2.5}},
	{shape: "counts without a scale", text: "Vertical Scale,50\nProbe,100\nYzero,128\nXINC,1E-3\n131\n133\n", refused: "nothing says what one count is worth"},
	{shape: "counts, scale given, zero in the header", text: "Vertical Scale,50\nYzero,128\nXINC,1E-3\n131\n133\n", opt: Options{Scales: map[string]float64{"column 1": 2}}, times: []float64{0, 1e-3}, want: []float64{6, 10}},
	{shape: "counts, scale and zero given", text: "Vertical Scale,50\nYzero,128\nXINC,1E-3\n131\n133\n", opt: Options{Scales: map[string]float64{"column 1": 2}, Offsets: map[string]float64{"column 1": 130}}, times: []float64{0, 1e-3}, want: []float64{2, 6}},
	{shape: "a scale for no channel", text: "t (s),U (V)\n0.1,1.5\n0.2,1.6\n", opt: Options{Scales: map[string]float64{"u": 100}}, refused: `no channel "u"`},
	{shape: "a unit for no channel", text: "t (s),U\n0.1,1.5\n0.2,1.6\n", opt: Options{Units: map[string]string{"CH1": "mV"}}, refused: `no channel "CH1"`},
	{shape: "a scale of nothing", text: "t (s),U (V)\n0.1,1.5\n0.2,1.6\n", opt: Options{Scales: map[string]float64{"U": 0}}, refused: "a count worth 0 is none"},
	{shape: "a count at zero without a scale", text: "t (s),U (V)\n0.1,1.5\n0.2,1.6\n", opt: Options{Offsets: map[string]float64{"U": 1}}, refused: "a count at zero means nothing"},
	{shape: "counts or volts", text: "Volts per div,80\nVertical Units,V\nXINC,1E-3\n-125\n125\n", refused: `whole numbers only, which may be counts of a converter (the header has "volts per div") or V`},
	{shape: "counts or volts, answered", text: "Volts per div,80\nVertical Units,V\nXINC,1E-3\n-125\n125\n", opt: Options{Units: map[string]string{"column 1": "V"}}, times: []float64{0, 1e-3}, want: []float64{-125, 125}},
	{shape: "decimal comma", text: "t;U\n0,0001;361,9\n0,0002;362,0\n", times: []float64{1e-4, 2e-4}, want: []float64{361.9, 362}},
	{shape: "comma as delimiter and as decimal mark", text: "t,U\n0,0001,361,9\n0,0002,362,0\n", refused: ":2: "},
	{shape: "comma as both, spaces between", text: "0,00, 0,00\n0,01, 0,05\n0,02, 0,09\n", refused: "both delimiter and decimal mark"},
	{shape: "one comma per line", text: "0,131\n1,133\n2,128\n", refused: "one number with a decimal comma or two values"},
	{shape: "thousands or decimals", text: "t;U\n1;1,234\n2;1,235\n", refused: "can be"},
	{shape: "names and units in brackets", text: "\"Time [ms]\",\"UBUS [V]\",\"ICOIL [A]\"\n\"0.0\",\"361.9\",\"0.42\"\n\"0.5\",\"362.0\",\"0.43\"\n", times: []float64{0, 5e-4}, want: []float64{0.42, 0.43}},
	{shape: "names, units, a blank row", text: "Time;Channel A;Channel B\n(ms);(V);(mA)\n\n0.0;1.5;420\n0.5;1.6;430\n", times: []float64{0, 5e-4}, want: []float64{0.42, 0.43}},
	{shape: "milliseconds", text: "Time (ms),Link (V)\n0.00,1.2\n0.25,1.3\n", times: []float64{0, 2.5e-4}, want: []float64{1.2, 1.3}},
	{shape: "wall clock", text: "2027-03-20 10:02:11.125,361.8\n2027-03-20 10:02:11.250,361.7\n", times: []float64{0, 0.125}, want: []float64{361.8, 361.7}},
	{shape: "wall clock with commas, a gap", text: "Zeit;U [V]\n11:02:11,125;361,8\n11:02:11,250;361,7\n11:02:12,250;361,6\n", times: []float64{0, 0.125, 1.125}, want: []float64{361.8, 361.7, 361.6}},
	{shape: "logger: date, time, header again after a loss of power", text: "Date;Time;U [V]\n2026-05-14;09:12:07,250;371,9\n2026-05-14;09:12:08,250;371,8\nDate;Time;U [V]\n2026-05-14;09:12:20,250;371,5\n", times: []float64{0, 1, 13}, want: []float64{371.9, 371.8, 371.5}},
	{shape: "pairs of least and greatest value", text: "t (s),U (V)\n0.001,3.9\n0.001,4.4\n0.002,4.0\n0.002,4.6\n", times: []float64{0.001, 0.002}, want: []float64{4.15, 4.3}},
	{shape: "channels with times of their own", text: "t1,CH1,t2,CH2\n0,0.1,0.00002,12.1\n0.001,0.2,0.00102,12.2\n", times: []float64{2e-5, 1.02e-3}, want: []float64{12.1, 12.2}},
	{shape: "markers", text: "t (s),U (V)\n0.1,1.5\n0.2,NaN\n0.3,OL\n0.4,-OVLD\n0.5,9.9E37\n0.6,---\n", times: []float64{.1, .2, .3, .4, .5, .6}, want: []float64{1.5, gone, over, over, over, gone}},
	{shape: "more markers", text: "t (s),U (V)\n0.1,0L\n0.2,OVER\n0.3,>4000\n0.4,> 40.0\n0.5,<0.01\n0.6,+inf\n0.7,1.#INF\n0.8,ERR\n0.9,\n1.0,1.5\n", times: []float64{.1, .2, .3, .4, .5, .6, .7, .8, .9, 1}, want: []float64{over, over, over, over, over, over, over, gone, gone, 1.5}},
	{shape: "two triggers in one file", text: "t (s),U (V)\n-0.1,1.5\n0,2.5\n-0.1,1.6\n0,2.6\n", refused: "2 recordings"},
	{shape: "segments, the second", text: "Segments,2,Points,2\nSegment,Trigger,Since first\n#1,10:02:11,0\n#2,10:02:14,3.0\nTime (s),U (V)\n-0.1,1.5\n0,2.5\n-0.1,1.6\n0,2.6\n", opt: Options{Recording: 2}, times: []float64{-0.1, 0}, want: []float64{1.6, 2.6}},
	{shape: "blocks, each of another channel", text: "Time (s),CH1 (V)\n0.0,1.5\n0.5,2.5\n\nTime (s),CH2 (A)\n0.0,1.6\n0.5,2.6\n", refused: ":5: "},
	{shape: "meter log, the unit changes", text: "Time (s);Value;Unit;Mode\n0.0;980.5;mV;AUTO\n0.5;1.02;V;AUTO\n1.0;1.03;V;AUTO\n", times: []float64{0, 0.5, 1}, want: []float64{0.9805, 1.02, 1.03}},
	{shape: "meter log without times", text: "No;Value;Unit;Mode\n12;0.98;MOhm;AUTO\n13;0.97;MOhm;AUTO\n", refused: "no column is a time"},
	{shape: "header behind semicolons", text: ";Model,Q4\n;Sample rate,1000\n;Time [s],U [V]\n0.000,1.5\n0.001,1.6\n", times: []float64{0, 1e-3}, want: []float64{1.5, 1.6}},
	{shape: "header behind #", text: "# Model,Q4\n# Sample rate,1000\n# Unit,V\n1.5\n1.6\n", times: []float64{0, 1e-3}, want: []float64{1.5, 1.6}},
	{shape: "tabs, no end of the last line", text: "Time (s)\tU (V)\n0.1\tinf\n0.2\t-inf\n0.3\tnan\n0.4\t1.5\n0.5\t1.6", times: []float64{.1, .2, .3, .4, .5}, want: []float64{over, over, gone, 1.5, 1.6}},
	{shape: "typed lines, no column named a time", text: "L;1;Pack;V;2;Link;V\nD;0,1;398,0;0,2\nD;0,2;398,0;0,3\n", refused: "no column is a time"},
	{shape: "typed lines, the time given", text: "L;1;Pack;V;2;Link;V\nD;0,1;398,0;0,2\nD;0,2;398,0;0,3\n", opt: Options{TimeColumn: "2", TimeUnit: "s"}, times: []float64{0.1, 0.2}, want: []float64{0.2, 0.3}},
	{shape: "mark of the encoding, CRLF, trailing comma", text: "\ufeffTime,CH1\r\n0.1,1.5,\r\n0.2,1.6,\r\n", times: []float64{0.1, 0.2}, want: []float64{1.5, 1.6}},
	{shape: "UTF-16", text: string(encoded("Time (ms)\tCH1 (V)\r\n1.0\t1.5\r\n2.0\t1.6\r\n", utf16LE)), times: []float64{1e-3, 2e-3}, want: []float64{1.5, 1.6}},
	{shape: "micro sign in one byte", text: "Time (\xb5s);CH1 (V)\n1.0;1.5\n2.0;1.6\n", times: []float64{1e-6, 2e-6}, want: []float64{1.5, 1.6}},
	{shape: "CR alone", text: "Time (s),U (V)\r0.1,1.5\r0.2,1.6\r", times: []float64{0.1, 0.2}, want: []float64{1.5, 1.6}},
	{shape: "NUL at the end", text: "Time (s),U (V)\n0.1,1.5\n0.2,1.6\n\x00\x00\x00\x00", times: []float64{0.1, 0.2}, want: []float64{1.5, 1.6}},
	{shape: "thousands with points", text: "Time (s);U (mV)\n0,1;1.234,5\n0,2;1.235,5\n", times: []float64{0.1, 0.2}, want: []float64{1.2345, 1.2355}},
	{shape: "thousands with apostrophes", text: "Time (s);U (mV)\n0.1;1'234.5\n0.2;1'235.5\n", times: []float64{0.1, 0.2}, want: []float64{1.2345, 1.2355}},
	{shape: "thousands with narrow spaces", text: "Time (s);U (mV)\n0.1;1\u202f234.5\n0.2;1\u202f235.5\n", times: []float64{0.1, 0.2}, want: []float64{1.2345, 1.2355}},
	{shape: "a number made a day", text: "t (s);U (V)\n0.1;22.4\n0.2;22 May\n0.3;22.6\n", refused: `:3: "22 May" is no number`},
	{shape: "cut in the middle of a line", text: "Time (s),U (V)\n0.1,1.5\n0.2,1.6\n0.3,1.", times: []float64{0.1, 0.2}, want: []float64{1.5, 1.6}},
	{shape: "candump -l", text: "(1805536931.125000) can0 3A1#8A0E2C01\n(1805536931.126000) can0 3A1#R\n(1805536931.135000) can0 3A1##18B0E R\n", opt: Options{Signals: []can.Signal{link}}, times: []float64{0, 0.01}, want: []float64{372.2, 372.3}},
	{shape: "CAN log with spaces", text: " (0.000100)  can0  3A1   [4]  8A 0E 2C 01\n (0.000200)  can0  3A1   [4]  8B 0E 2C 01\n", refused: "a CAN log in a layout that is not read"},
	{shape: "CAN log that states its base", text: "date Fri Mar 20 10:02:11 2027\nbase hex  timestamps absolute\n   0.015991 1  3A1  Rx   d 4 10 20 30 01\n   0.016991 1  3A1  Rx   d 4 11 20 30 01\n", refused: "a CAN log in a layout that is not read"},
}

// Every shape of file by its name, read to the numbers that a person reads in
// it, or asked about.
func TestFieldShapes(t *testing.T) {
	for _, c := range fieldShapes {
		t.Run(c.shape, func(t *testing.T) {
			c.opt.Name = "f"
			w, err := Read(strings.NewReader(c.text), c.opt)
			if c.refused != "" {
				require.ErrorContains(t, err, c.refused)
				assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err))
				assert.NotEmpty(t, diag.HintOf(err))
				return
			}
			require.NoError(t, err, diag.HintOf(err))
			whole(t, w)
			ch := w.Channels[len(w.Channels)-1]
			require.Len(t, ch.V, len(c.want))
			for i, want := range c.want {
				assert.InDelta(t, c.times[i], ch.Axis.At(i), 1e-12)
				clipped := within(ch.Clipped, i)
				assert.Equal(t, math.IsInf(want, 1), clipped, "sample %d is out of range", i)
				assert.Equal(t, math.IsNaN(want), within(ch.Missing, i), "sample %d is missing", i)
				if !math.IsNaN(want) && !clipped {
					assert.InDelta(t, want, ch.V[i], 1e-9)
				}
			}
		})
	}
}

// within reports that sample i lies in one of the spans.
func within(spans []Span, i int) bool {
	for _, s := range spans {
		if s.From <= i && i < s.To {
			return true
		}
	}
	return false
}
