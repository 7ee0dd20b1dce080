package pdf

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/report"
)

// sample has every kind of block, more than a page of them.
func sample() Document {
	var steps []report.Block
	for i := range 40 {
		word := []string{"PASS", "FAIL", "PASS, NOT WITNESSED"}[i%3]
		steps = append(steps, report.Step{Number: fmt.Sprintf("%d of 40", i+1), Path: fmt.Sprintf("loop_item.step_%d", i),
			Text: "Measure between the two poles, with everything unplugged.", Decision: word,
			Facts:    report.Facts{{Name: "Limit", Values: []string{"at least 201.6 kΩ", "= 500 Ω/V × 403.2 V"}}},
			Attempts: []report.Attempt{{Title: "1st of 2 readings: FAIL", Facts: report.Facts{{Name: "Read", Values: []string{"45.4 MΩ ± 2.8 MΩ, τ ≤ 3 µs"}}}}}})
	}
	return Document{Issued: time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC), Program: "hvproof test", Head: "log hvproof/a/b/c, 7 entries", Keywords: "k",
		Checkpoint: []byte("hvproof/a/b/c\n7\nAAAA\n\n— hvproof/a/b/c AAAA\n"),
		Report: &report.Report{Title: "Test report: everything", Subject: "Sandpiper, run x-1", Mark: "PRACTICE - never evidence", Parts: []report.Part{
			{Title: "Summary", Sections: []report.Section{{Title: "Result", Blocks: []report.Block{
				report.Result{Word: "FAILED", Sentence: "drive.isolation failed"}, report.Paragraph("A few words."),
				report.List{Counted: true, Items: []string{"one", "two"}}}}}},
			{Title: "Run", Sections: []report.Section{{Title: "Steps", Blocks: steps}, {Title: "Table", Blocks: []report.Block{
				report.Table{Head: []string{"step", "what"}, Rows: [][]string{{"a", "\u202Ehostile <b> \U0001F600"}, {"b", "ok"}}}}}}},
			{Title: "Record", Sections: []report.Section{{Title: "Checkpoint", Blocks: []report.Block{
				report.Verbatim("hvproof/a/b/c\n7\nAAAA\n\n— hvproof/a/b/c AAAA"), report.Verbatim("hvproof verify   everything")}}}}}}}
}

func TestWrite(t *testing.T) {
	var a, b bytes.Buffer
	require.NoError(t, Write(&a, sample()))
	require.NoError(t, Write(&b, sample()))
	require.Equal(t, a.Bytes(), b.Bytes(), "the same report gives the same bytes")
	assert.True(t, bytes.HasPrefix(a.Bytes(), []byte("%PDF-")))
}

func TestGlyphs(t *testing.T) {
	g, err := bothHave(regularFont, boldFont)
	require.NoError(t, err)
	// As published for IBM Plex Sans: Latin, Greek and Cyrillic, no Arabic.
	for _, c := range "AzΩωµ±≥≤…–−τ₀×√°éß" {
		assert.True(t, g[c], "%c", c)
	}
	for _, c := range "\u202E\u0627漢" {
		assert.False(t, g[c], "%U", c)
	}
	p := &printer{known: g}
	assert.Equal(t, `a\u{202E}b`, p.plain("a\u202Eb"))
	assert.Equal(t, `\u{6F22}`, p.plain("漢"))
}

// An unknown block is an error, never an empty place on paper.
func TestEveryBlock(t *testing.T) {
	d := sample()
	d.Report.Parts[0].Sections[0].Blocks = append(d.Report.Parts[0].Sections[0].Blocks, nil)
	assert.Error(t, Write(&bytes.Buffer{}, d))
}

func BenchmarkWrite(b *testing.B) {
	for b.Loop() {
		require.NoError(b, Write(&bytes.Buffer{}, sample()))
	}
}
