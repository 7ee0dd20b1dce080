package text

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"hvproof/internal/diag"
	"hvproof/internal/report"
)

// Whatever the text, no line is too long, and nothing but spaces is lost.
func TestWrapLosesNothing(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		text := rapid.String().Draw(r, "text")
		width := rapid.IntRange(1, 60).Draw(r, "width")
		lines := wrap(text, width)
		for _, l := range lines {
			require.LessOrEqual(r, length(l), width)
		}
		bare := func(s string) string { return strings.ReplaceAll(s, " ", "") }
		require.Equal(r, bare(diag.Printable(text)), bare(strings.Join(lines, "")))
	})
}

// A number is never parted from its unit or its uncertainty.
func TestNumbersStayTogether(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"range to 400 MΩ, digit 1 kΩ", "range to|400 MΩ,|digit|1 kΩ"},
		{"it reads 51 kΩ ± 6.6 kΩ here", "it reads|51 kΩ ± 6.6 kΩ|here"},
		{"17 of 44 steps", "17 of 44|steps"},
		{"at 500 Ω/V now", "at|500 Ω/V|now"},
	} {
		width := 9
		if strings.Contains(c.text, "±") {
			width = 17
		}
		assert.Equal(t, c.want, strings.Join(wrap(c.text, width), "|"))
	}
}

// A line that is broken in what must be copied exactly can be put together
// again, and the page says how.
func TestVerbatimCanBePutTogether(t *testing.T) {
	long := "— hvproof/x " + strings.Repeat("0123456789", 20)
	d := &document{report: &report.Report{}}
	d.verbatim("short\n\n" + long)
	page := strings.Join(d.page, "\n")
	assert.Contains(t, page, `ends in \ goes on`)
	body, _, _ := strings.Cut(page, "\n  (A line")
	assert.Equal(t, "    short\n\n    "+long, strings.ReplaceAll(body, "\\\n    ", ""))
	for _, l := range d.page {
		assert.LessOrEqual(t, length(l), Width)
	}
}

// Every page has the mark first and last, and its number; what is longer than
// a page goes on in the next one without loss.
func TestPagesAreMarkedAndWhole(t *testing.T) {
	var items []string
	var step report.Step
	for i := range 300 {
		items = append(items, fmt.Sprintf("item %03d of many", i))
		step.Facts = append(step.Facts, report.Fact{Name: "fact", Values: []string{fmt.Sprintf("value %03d", i)}})
	}
	r := &report.Report{Title: strings.Repeat("a title that is too long ", 9), Subject: strings.Repeat("subject ", 30), Mark: "PRACTICE - never evidence",
		Parts: []report.Part{{Title: "One", Sections: []report.Section{{Title: "Much", Blocks: []report.Block{report.List{Items: items, Counted: true}, step}}}}}}
	var b bytes.Buffer
	require.NoError(t, Write(&b, r))
	pages := strings.Split(b.String(), "\f")
	require.Greater(t, len(pages), 10)
	for i, p := range pages {
		lines := strings.Split(strings.TrimSuffix(p, "\n"), "\n")
		assert.Len(t, lines, Lines)
		assert.Equal(t, r.Mark, lines[0])
		assert.Equal(t, r.Mark, lines[Lines-1])
		assert.Contains(t, p, fmt.Sprintf("page %d of %d\n", i+1, len(pages)))
		for _, l := range lines {
			assert.LessOrEqual(t, length(l), Width)
		}
	}
	for i := range 300 {
		assert.Equal(t, 1, strings.Count(b.String(), fmt.Sprintf("item %03d of many", i)))
		assert.Equal(t, 1, strings.Count(b.String(), fmt.Sprintf("value %03d", i)))
	}
}

// A table that is too wide gives way in its widest column.
func TestTableFits(t *testing.T) {
	d := &document{report: &report.Report{}}
	d.table(report.Table{Head: []string{"step", "why"}, Rows: [][]string{{strings.Repeat("a", 60), strings.Repeat("b", 90)}}})
	require.NotEmpty(t, d.page)
	for _, l := range d.page {
		assert.LessOrEqual(t, length(l), Width)
	}
	all := strings.Join(d.page, "")
	assert.Equal(t, 60, strings.Count(all, "a"))
	assert.Equal(t, 90, strings.Count(all, "b"))
}
