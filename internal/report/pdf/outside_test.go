//go:build outside

package pdf

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plot"
	"hvproof/internal/quantity"
	"hvproof/internal/report"
)

// TestTaggedOutside has poppler read the structure tree of a report, and the
// words of it in reading order.
func TestTaggedOutside(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, sample()))
	file := filepath.Join(t.TempDir(), "r.pdf")
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
	read := func(args ...string) string {
		var said, complaint bytes.Buffer
		c := exec.Command("pdfinfo", append(args, file)...)
		c.Stdout, c.Stderr = &said, &complaint
		require.NoError(t, c.Run(), complaint.String())
		require.Empty(t, complaint.String())
		return said.String()
	}
	about := read()
	for _, want := range []string{"Title:           Test report: everything", "Tagged:          yes", "Suspects:        no", "PDF version:     1.7"} {
		assert.Contains(t, about, want)
	}
	words := read("-struct-text")
	at := 0
	for _, want := range []string{"Document", "Part", "H1 (block)", `"Test report: everything"`, "H2 (block)", `"Result"`, `"FAILED"`, "Lbl (block)", `"1."`, "LBody (block)", `"one"`,
		"H4 (block)", "loop_item.step_0", "H5 (block)", `"1st of 2 readings: FAIL"`, "τ ≤ 3 µs", "Figure", "main contactor closes, 100 ms", "Table", "TR", "TH", `"step"`, "TD", `"a"`, "P (block)", `"7"`} {
		i := strings.Index(words[at:], want)
		require.GreaterOrEqual(t, i, 0, "%q does not follow", want)
		at += i
	}
	assert.NotContains(t, words, "page 1 of", "heads and feet are for the eye alone")
}

// strange has long names, long notes, and characters of which no font here has
// the glyph or which turn the direction of reading.
func strange() Document {
	long := strings.Repeat("left_outside_rear_", 9)
	note := strings.Repeat("The clip sat on paint; scraped, cleaned, read again. ", 10)
	hostile := "<b>\u202Eelpmis</b> \u05d0\u05d1\u05d2 \u0627\u0644 漢字 \U0001F600 раураl Ω Ω µ μ K\u0301 " + strings.Repeat("x", 200)
	chart := &plot.Chart{Title: long + hostile, Panels: []plot.Panel{
		{Dim: quantity.Volt, Series: []plot.Series{{Name: long, Points: []plot.Point{{X: 0, Y: 0}, {X: 1, Y: 400}}}, {Name: hostile, Style: plot.Dashed, Points: []plot.Point{{X: 0, Y: 0}, {X: 1, Y: 300}}}},
			Levels: []plot.Level{{Y: 300, Text: long}, {Y: 301, Text: hostile}}, Marks: []plot.Mark{{X: 0.5, Y: 200, Text: note}}},
		{Dim: quantity.Ampere, Series: []plot.Series{{Name: "i", Points: []plot.Point{{X: 0, Y: 1e-6}, {X: 1, Y: 1234567}}}}}}}
	d := sample()
	d.Head = "log " + long
	d.Report = &report.Report{Title: "Test report: " + long, Subject: hostile, Parts: []report.Part{{Title: long, Sections: []report.Section{{Title: note, Blocks: []report.Block{
		report.Result{Word: strings.ToUpper(long), Sentence: hostile + note}, report.Facts{{Name: long, Values: []string{note, hostile}}}, report.Paragraph(hostile), report.List{Items: []string{long, note}},
		report.Table{Head: []string{"step", "value", "limit", "decision"}, Rows: [][]string{{long, note, hostile, "PASS"}}},
		report.Step{Number: "1 of 1", Path: long, Text: note, Decision: "CONDITIONAL PASS, NOT WITNESSED", Facts: report.Facts{{Name: "Limit", Values: []string{long, hostile}}},
			Attempts: []report.Attempt{{Title: note, Facts: report.Facts{{Name: "Note", Values: []string{note, hostile}}}, Chart: chart}}},
		report.Verbatim(hostile)}}}}, {Title: long}}}
	return d
}

// TestNothingLeavesThePage: whatever stands in the record, all of it is within
// the margins (18 mm), as poppler finds it.
func TestNothingLeavesThePage(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, strange()))
	dir := t.TempDir()
	file := filepath.Join(dir, "r.pdf")
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
	boxes, err := exec.Command("pdftotext", "-bbox", file, "-").Output()
	require.NoError(t, err)
	words := regexp.MustCompile(`<word xMin="([-0-9.]+)" yMin="([-0-9.]+)" xMax="([-0-9.]+)" yMax="([-0-9.]+)">([^<]*)`).FindAllSubmatch(boxes, -1)
	require.Greater(t, len(words), 200)
	for _, w := range words {
		var at [4]float64
		for i := range at {
			at[i], err = strconv.ParseFloat(string(w[i+1]), 64)
			require.NoError(t, err)
		}
		const margin = 18 / pt
		assert.True(t, at[0] > margin-2 && at[2] < 595.28-margin+2 && at[1] > 10 && at[3] < 832, "%s at %v", w[5], at)
	}
	plain, err := exec.Command("pdftotext", "-raw", file, "-").Output()
	require.NoError(t, err)
	whole := strings.Join(strings.Fields(string(plain)), "")
	assert.GreaterOrEqual(t, strings.Count(whole, strings.Repeat("left_outside_rear_", 9)), 5, "a long name is somewhere whole")
	assert.Contains(t, whole, "Step"+strings.Repeat("left_outside_rear_", 9))
	text := string(boxes)
	for _, want := range []string{`\u{202E}elpmis`, `\u{6F22}`, `\u{1F600}`} {
		assert.Contains(t, text, want, "what cannot be printed, or deceives, is written out")
	}
}
