package plot_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plot"
	"hvproof/internal/quantity"
)

func chart() plot.Chart {
	var link, fitted []plot.Point
	for i := range 400 {
		t := -0.01 + 0.0004*float64(i)
		y := 362.4 * -math.Expm1(-math.Max(0, t)/0.0348)
		link = append(link, plot.Point{X: t, Y: y})
		fitted = append(fitted, plot.Point{X: t, Y: y + 1})
	}
	link[50].Y = math.NaN()
	return plot.Chart{Title: "pre-charge <1> & more", Panels: []plot.Panel{{
		Dim:    quantity.Volt,
		Series: []plot.Series{{Name: "link", Points: link}, {Name: "fit", Style: plot.Dashed, Points: fitted}},
		Levels: []plot.Level{{Y: 344.3, Text: "95 %"}, {Y: 345, Text: "also here"}, {Y: 362.4, Text: "pack 362 V"}},
		Marks:  []plot.Mark{{X: 0, Y: 0, Text: "start"}, {X: 0.107, Y: 345.7, Text: "main contactor closes"}},
	}}}
}

func TestSVGIsWellFormedAndStable(t *testing.T) {
	var a, b bytes.Buffer
	require.NoError(t, chart().Draw(560, 340).SVG(&a))
	require.NoError(t, chart().Draw(560, 340).SVG(&b))
	assert.Equal(t, a.String(), b.String())
	d := xml.NewDecoder(bytes.NewReader(a.Bytes()))
	var texts []string
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if c, ok := tok.(xml.CharData); ok && strings.TrimSpace(string(c)) != "" {
			texts = append(texts, string(c))
		}
	}
	for _, want := range []string{"pre-charge <1> & more", "95 %", "pack 362 V", "time (ms)", "voltage (V)", "1  start, 0 s", "2  main contactor closes, 107 ms"} {
		assert.Contains(t, texts, want)
	}
	assert.NotContains(t, a.String(), "NaN")
}

// Names of levels that lie close together do not cover each other, and
// everything lies on the page.
func TestLayout(t *testing.T) {
	d := chart().Draw(560, 340)
	ys := map[string]float64{}
	for _, x := range d.Texts {
		ys[x.Text] = x.Y
		assert.True(t, x.X >= 0 && x.X <= d.Width && x.Y >= 0 && x.Y <= d.Height, "%+v", x)
	}
	assert.GreaterOrEqual(t, math.Abs(ys["95 %"]-ys["also here"]), 10.0)
	for _, l := range d.Lines {
		for _, p := range l.Points {
			assert.True(t, p.X >= 0 && p.X <= d.Width && p.Y >= 0 && p.Y <= d.Height, "%+v", p)
		}
	}
}

func TestEmptyAndOddCharts(t *testing.T) {
	for _, c := range []plot.Chart{
		{}, {Panels: []plot.Panel{{}}},
		{Panels: []plot.Panel{{Series: []plot.Series{{Points: []plot.Point{{X: 1, Y: 5}, {X: 1, Y: 5}}}}}}},
		{Panels: []plot.Panel{{Series: []plot.Series{{Points: []plot.Point{{X: 0, Y: math.NaN()}, {X: 1, Y: math.Inf(1)}}}}}}},
	} {
		var b bytes.Buffer
		require.NoError(t, c.Draw(400, 300).SVG(&b))
		assert.NotContains(t, b.String(), "NaN")
		assert.NotContains(t, b.String(), "Inf")
	}
}

// Drawn with characters, every line fits, the curve rises from corner to corner,
// and what a reader could be deceived by is written out.
func TestCharacters(t *testing.T) {
	c := chart()
	c.Panels[0].Series[0].Name = "li\u202Enk"
	for _, width := range []int{40, 72, 80} {
		lines := c.Characters(width)
		for _, l := range lines {
			assert.LessOrEqual(t, utf8.RuneCountInString(l), width, "%q", l)
			assert.NotContains(t, l, "\u202E")
		}
		all := strings.Join(lines, "\n")
		for _, want := range []string{"pre-charge <1> & more", "voltage (V)", "time (ms)", "1  start, 0 s", "2  main contactor closes, 1", `*  li\u{202E}nk`, "+  fit"} {
			assert.Contains(t, all, want)
		}
		high, top, bottom := lines[3], lines[2], lines[13] // the top row is the pack's
		assert.Greater(t, strings.LastIndex(high, "*"), width/2, "it ends high")
		assert.Less(t, strings.Index(bottom, "*"), width/2, "it begins low")
		assert.NotContains(t, top, "*")
	}
}

// Words say everything that the drawing names.
func TestWords(t *testing.T) {
	assert.Equal(t, "pre-charge <1> & more, from -10 ms to 149.6 ms. voltage over time of link, fit. levels: 95 %, also here, pack 362 V. "+
		"marks: 1  start, 0 s; 2  main contactor closes, 107 ms.", chart().Words())
}

// A name that is too long is shortened, and the shortening shows.
func TestLongNames(t *testing.T) {
	c := chart()
	long := strings.Repeat("left_outside_rear_", 9)
	c.Title, c.Panels[0].Series[0].Name, c.Panels[0].Levels[0].Text, c.Panels[0].Marks[0].Text = long, long, long, long
	d := c.Draw(560, 340)
	cut := 0
	for _, x := range d.Texts {
		assert.LessOrEqual(t, utf8.RuneCountInString(x.Text), 110)
		if strings.HasSuffix(x.Text, "…") {
			cut++
		}
	}
	assert.Equal(t, 4, cut)
	assert.Contains(t, d.Words, long, "in words it is whole")
}
