package capture

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"unicode/utf16"

	"hvproof/internal/diag"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What is written in any of the ways comes back to the last bit.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		delimiter := rapid.SampledFrom([]string{",", ";", "\t", " ", "|"}).Draw(t, "delimiter")
		mark := rapid.SampledFrom([]string{".", ","}).Draw(t, "mark")
		if delimiter == "," {
			mark = "."
		}
		end := rapid.SampledFrom([]string{"\n", "\r\n", "\r"}).Draw(t, "end")
		channels := rapid.IntRange(1, 5).Draw(t, "channels")
		rows := rapid.IntRange(2, 60).Draw(t, "rows")
		format := rapid.SampledFrom([]byte{'f', 'e'}).Draw(t, "format")
		var b strings.Builder
		b.WriteString("t/s")
		for c := range channels {
			fmt.Fprintf(&b, "%sCH%d/V", delimiter, c+1)
		}
		b.WriteString(end)
		want := make([][]float64, channels)
		for r := range rows {
			b.WriteString(strconv.Itoa(r) + mark + "5")
			for c := range channels {
				v := rapid.Float64Range(-1e6, 1e6).Draw(t, "v")
				if math.Abs(v) < 1e-60 {
					v = 0
				}
				want[c] = append(want[c], v)
				text := strconv.FormatFloat(v, format, -1, 64)
				if !strings.Contains(text, ".") {
					whole, exp, found := strings.Cut(text, "e")
					if text = whole + ".0"; found {
						text += "e" + exp
					}
				}
				b.WriteString(delimiter + strings.Replace(text, ".", mark, 1))
			}
			b.WriteString(end)
		}
		raw := encoded(b.String(), rapid.SampledFrom([]string{utf8Plain, utf8BOM, utf16LE, utf16BE}).Draw(t, "encoding"))
		if rapid.Bool().Draw(t, "gzip") {
			var z bytes.Buffer
			w := gzip.NewWriter(&z)
			_, err := w.Write(raw)
			require.NoError(t, err)
			require.NoError(t, w.Close())
			raw = z.Bytes()
		}
		w, err := Read(bytes.NewReader(raw), Options{})
		require.NoError(t, err, "%s\n%s", diag.HintOf(err), b.String())
		require.Len(t, w.Channels, channels)
		for c, ch := range w.Channels {
			require.Equal(t, fmt.Sprintf("CH%d", c+1), ch.Name)
			require.Len(t, ch.V, rows)
			for r, v := range ch.V {
				require.Equal(t, math.Float64bits(want[c][r]), math.Float64bits(v), "%v, %v", want[c][r], v)
				require.Equal(t, float64(r)+0.5, ch.Axis.At(r))
			}
		}
		assert.Equal(t, sha256.Sum256(raw), w.SHA256)
	})
}

// encoded writes text in an encoding.
func encoded(text, encoding string) []byte {
	switch encoding {
	case utf8BOM:
		return []byte("\ufeff" + text)
	case utf16LE, utf16BE:
		var b []byte
		for _, u := range utf16.Encode([]rune("\ufeff" + text)) {
			if encoding == utf16LE {
				b = append(b, byte(u), byte(u>>8))
			} else {
				b = append(b, byte(u>>8), byte(u))
			}
		}
		return b
	}
	return []byte(text)
}

// long is a file of many blocks, with line number n replaced by line.
func long(rows, n int, line string) string {
	var b strings.Builder
	b.WriteString("Time (s);U (V)\n")
	for i := range rows {
		if i+2 == n {
			b.WriteString(line + "\n")
		} else {
			fmt.Fprintf(&b, "%d.25;%d\n", i, i%400)
		}
	}
	return b.String()
}

// Faults deep in a file have their line, however blocks were cut.
func TestFaultsFarIn(t *testing.T) {
	const rows, at = 60000, 51234
	for _, c := range []struct{ line, want, hint string }{
		{"x;y", `f:51234: "x" is no number, between rows of numbers`, "cut it out"},
		{"51232.5;3,5", `f:51234: "3,5" is no number, between rows of numbers`, "--decimal-comma"},
		{"51232.5;1,234", `f:51234: "1,234" can be read in two ways`, "--decimal-comma"},
		{"51232.5;3;4", "f:51234: 3 values where the rows before have 2", "same columns"},
		{"2.5;4", "f:51234: the time runs backwards here, from 5.123e+04 s to 2.5 s: the file holds 2 recordings (1: lines 2 to 51233; 2: lines 51234 to 60001)", "--recording"},
		{strings.Repeat("9", 1<<19), "f:", "is this a capture?"},
	} {
		for _, workers := range []int{1, 4} {
			_, err := Read(strings.NewReader(long(rows, at, c.line)), Options{Name: "f", Workers: workers})
			require.Error(t, err, c.line[:3])
			if c.want == "f:" {
				assert.Contains(t, err.Error(), "a line of more than 250,000 characters")
			} else if !strings.Contains(c.want, "backwards") {
				assert.EqualError(t, err, c.want)
			} else {
				assert.Contains(t, err.Error(), "the file holds 2 recordings (1: lines 2 to 51233; 2: lines 51234 to 60001)")
				assert.Contains(t, err.Error(), "f:51234: ")
			}
			assert.Contains(t, diag.HintOf(err), c.hint)
		}
	}
}

// Markers, blank lines and remarks deep in a file stand at their rows.
func TestMarksFarIn(t *testing.T) {
	text := strings.Replace(long(60000, 40002, "40000.25;OL"), "\n100.25;", "\n\n# a remark\n100.25;", 1)
	w, err := Read(strings.NewReader(text), Options{Workers: 3})
	require.NoError(t, err)
	ch := w.Channels[0]
	require.Len(t, ch.V, 60000)
	require.Len(t, ch.Clipped, 1)
	assert.Equal(t, 40000, ch.Clipped[0].From)
	assert.Equal(t, 40001, ch.Clipped[0].To)
	require.Equal(t, NoteClipped, w.Notes[0].Code)
	assert.EqualValues(t, 40004, w.Notes[0].Line)
	assert.Equal(t, 1, w.SkippedLines)
	assert.EqualValues(t, 103, w.Skipped[0].Line)
	whole(t, w)
}

// What an option says overrides what the file says or leaves open.
func TestOptions(t *testing.T) {
	read := func(text string, opt Options) Channel {
		t.Helper()
		w, err := Read(strings.NewReader(text), opt)
		require.NoError(t, err, diag.HintOf(err))
		return w.Channels[0]
	}
	ch := read("0,131\n1,133\n2,128\n", Options{Decimal: ",", Interval: 1e-3})
	assert.Equal(t, []float64{0.131, 1.133, 2.128}, ch.V)
	assert.Equal(t, 1e-3, ch.Axis.Step)
	ch = read("0,131\n1,133\n2,128\n", Options{Delimiter: ",", TimeUnit: "ms", Units: map[string]string{"column 2": "mV"}})
	assert.Equal(t, []float64{0.131, 0.133, 0.128}, ch.V)
	assert.Equal(t, 1e-3, ch.Axis.Step)
	ch = read("t;U\n1;1,234\n2;1,235\n", Options{Decimal: "."})
	assert.Equal(t, []float64{1234, 1235}, ch.V)
	ch = read("a,b\n5,7.5\n6,8.5\n", Options{TimeColumn: "b"})
	assert.Equal(t, []float64{5, 6}, ch.V)
	assert.Equal(t, 7.5, ch.Axis.At(0))
	ch = read("Time (min),U (V)\n0,1.5\n1,2.5\n2,3.5\n", Options{})
	assert.Equal(t, 60.0, ch.Axis.Step)
	ch = read("t (s),U (V)\n0,1\n0,1.5\n1,2\n1,2.5\n", Options{Samples: true})
	assert.Len(t, ch.V, 4)
	for _, opt := range []Options{{Delimiter: "x"}, {Decimal: "x"}, {Delimiter: ",", Decimal: ","}, {TimeColumn: "7"}, {TimeUnit: "V"},
		{Interval: -1}, {Recording: 2}, {Units: map[string]string{"U": "furlong"}}, {MaxValues: 3}} {
		_, err := Read(strings.NewReader("t (s),U (V)\n0.5,1.5\n1.5,2.5\n2.5,3.5\n"), opt)
		require.Error(t, err, "%+v", opt)
		assert.Equal(t, diag.ClassBadInput, diag.ClassOf(err), "%+v", opt)
	}
}

// A reader that fails is the machine's fault, not the file's.
func TestReaderFails(t *testing.T) {
	broken := errors.New("the stick was pulled out")
	for _, n := range []int{0, 10, 400000} {
		text := long(60000, 0, "")[:n]
		_, err := Read(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), Options{Name: "f"})
		require.ErrorIs(t, err, broken)
		assert.Equal(t, diag.ClassMachine, diag.ClassOf(err), "%v", err)
	}
}

func TestProgress(t *testing.T) {
	text := long(60000, 0, "")
	var seen []int64
	_, err := Read(strings.NewReader(text), Options{Progress: func(n int64) { seen = append(seen, n) }})
	require.NoError(t, err)
	require.Greater(t, len(seen), 2)
	assert.IsNonDecreasing(t, seen)
	assert.EqualValues(t, len(text), seen[len(seen)-1])
}

func TestMoments(t *testing.T) {
	for _, c := range []struct {
		text  string
		ns    int64
		dated bool
	}{
		{"1970-01-02", day, true}, {"1970/01/02", day, true}, {"02.01.1970", day, true},
		{"1970-01-01 00:00:01.5", 1.5e9, true}, {"1970-01-01T00:00:01,25Z", 1.25e9, true},
		{"00:01:00", 60e9, false}, {"23:59:59.999999999", day - 1, false}, {"00:00:00:125", 125e6, false},
	} {
		ns, dated, ok := parseMoment([]byte(c.text))
		require.True(t, ok, c.text)
		assert.Equal(t, c.ns, ns, c.text)
		assert.Equal(t, c.dated, dated, c.text)
	}
	for _, text := range []string{"", "1970-02-30", "03/04/2027", "24:00:00", "1:2:3", "12:00:00.", "2027-03-20x10:00:00", "12:00:00.5a"} {
		_, _, ok := parseMoment([]byte(text))
		assert.False(t, ok, text)
	}
}
