package pdf

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/plot"
	"hvproof/internal/quantity"
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
	chart := &plot.Chart{Title: "precharge, ramp.csv", Panels: []plot.Panel{{Dim: quantity.Volt,
		Series: []plot.Series{{Name: "dc_link (link)", Points: []plot.Point{{X: 0, Y: 0}, {X: 0.1, Y: 300}, {X: 0.2, Y: 360}}}, {Name: "fit", Style: plot.Dashed, Points: []plot.Point{{X: 0, Y: 1}, {X: 0.2, Y: 359}}}},
		Levels: []plot.Level{{Y: 344, Text: "95 %"}}, Marks: []plot.Mark{{X: 0.1, Y: 300, Text: "main contactor closes"}}}}}
	last := steps[len(steps)-1].(report.Step)
	last.Attempts = append(last.Attempts, report.Attempt{Chart: chart})
	steps[len(steps)-1] = last
	return Document{Issued: time.Date(2027, 3, 20, 9, 0, 0, 0, time.UTC), Program: "hvproof test", Head: "log hvproof/a/b/c, 7 entries", Keywords: "k",
		Checkpoint: []byte("hvproof/a/b/c\n7\nAAAA\n\n— hvproof/a/b/c AAAA\n"),
		Report: &report.Report{Title: "Test report: everything", Subject: "Sandpiper, run x-1", Mark: "PRACTICE - never evidence", Parts: []report.Part{
			{Title: "Summary", Sections: []report.Section{{Title: "Result", Blocks: []report.Block{
				report.Result{Word: "FAILED", Sentence: "drive.isolation failed"}, report.Paragraph("A few words."),
				report.List{Counted: true, Items: []string{"one", "two"}}}}}},
			{Title: "Run", Sections: []report.Section{{Title: "Steps", Blocks: steps}, {Title: "Table", Blocks: []report.Block{
				report.Table{Head: []string{"step", "decision"}, Rows: [][]string{{"a", "\u202Ehostile <b> \U0001F600"}, {"b", "PASS"}}}}}}},
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

// TestStructure holds the structure tree against the pages: each piece of a
// page is an element's or for the eye alone, and no element is empty or doubled
// (ISO 32000-1:2008, 14.6 to 14.8).
func TestStructure(t *testing.T) {
	p, err := render(sample(), 9)
	require.NoError(t, err)
	require.Equal(t, p.f.PageCount(), len(p.owners))
	roles := map[string]int{}
	var walk func(e *element) (text bool)
	seen := map[mark]bool{}
	walk = func(e *element) bool {
		text := false
		for _, k := range e.kids {
			switch k := k.(type) {
			case *element:
				text = walk(k) || text
			case mark:
				require.False(t, seen[k], "%v belongs to two elements", k)
				seen[k], text = true, true
				require.Same(t, e, p.owners[k.page-1][k.id])
			}
		}
		if text {
			roles[e.role]++
		}
		return text
	}
	require.True(t, walk(p.root))
	pieces := 0
	for _, of := range p.owners {
		pieces += len(of)
	}
	assert.Len(t, seen, pieces, "every piece is in the tree")
	assert.Equal(t, map[string]int{"Document": 1, "Part": 3, "Sect": 44, "H1": 1, "H2": 3, "H3": 3, "H4": 40, "H5": 40, "P": 46, "L": 81, "LI": 82, "Lbl": 82, "LBody": 82,
		"Table": 1, "TR": 3, "TH": 2, "TD": 4, "Figure": 2}, roles)

	var raw bytes.Buffer
	require.NoError(t, p.f.Output(&raw))
	objects, err := objectsOf(raw.Bytes())
	require.NoError(t, err)
	pages := 0
	for number := range objects.bodies {
		text, ok := inflated(t, objects.bodies[number])
		if !ok || !bytes.Contains(text, []byte("BDC")) {
			continue
		}
		pages++
		depth, loose := 0, 0
		for line := range strings.SplitSeq(string(text), "\n") {
			switch {
			case strings.HasSuffix(line, " BDC"), strings.HasSuffix(line, " BMC"):
				depth++
				require.Equal(t, 1, depth, "nothing is marked within what is marked")
			case line == "EMC":
				depth--
			case depth == 0 && (strings.Contains(line, " Tj") || strings.HasSuffix(line, " re S") || strings.HasSuffix(line, " l S")):
				loose++
			}
		}
		assert.Zero(t, depth)
		assert.Zero(t, loose, "nothing is printed outside the marks")
	}
	assert.Equal(t, len(p.owners), pages)
}

// TestBadDecisionsStandOut: in a table of values every decision but a plain good
// one is white on black, and so can be found at arm's length without colour.
func TestBadDecisionsStandOut(t *testing.T) {
	white := func(decision string) int {
		d := Document{Report: &report.Report{Parts: []report.Part{{Sections: []report.Section{{Blocks: []report.Block{
			report.Table{Head: []string{"value", "decision"}, Rows: [][]string{{"FAIL", decision}}}}}}}}}}
		p, err := render(d, 1)
		require.NoError(t, err)
		var raw bytes.Buffer
		require.NoError(t, p.f.Output(&raw))
		objects, err := objectsOf(raw.Bytes())
		require.NoError(t, err)
		n := 0
		for _, object := range objects.bodies {
			if text, ok := inflated(t, object); ok && bytes.Contains(text, []byte("BDC")) {
				n += bytes.Count(text, []byte("q 1.000 g BT"))
			}
		}
		return n
	}
	for _, good := range []string{"PASS", "DONE"} {
		assert.Zero(t, white(good), good)
	}
	for _, bad := range []string{"FAIL", "CONDITIONAL PASS", "CANNOT DECIDE", "PASS, NOT WITNESSED", "PASS, FINDING", "TO BE REPEATED"} {
		assert.Equal(t, 1, white(bad), bad)
	}
}

// TestFiguresHaveWords: what a figure shows is said to those who cannot see it.
func TestFiguresHaveWords(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, Write(&b, sample()))
	tree := ""
	for _, object := range bytes.Split(b.Bytes(), []byte("endobj\n")) {
		if text, ok := inflated(t, object); ok && bytes.Contains(object[:min(len(object), 60)], []byte("/Type/ObjStm")) {
			tree += string(text)
		}
	}
	assert.Equal(t, 2, strings.Count(tree, "/S/Figure"))
	for _, words := range []string{"precharge, ramp.csv, from 0 s to 200 ms. voltage over time of dc_link (link), fit. levels: 95 %. marks: 1  main contactor closes, 100 ms.", "the same lines as a QR code"} {
		assert.Contains(t, tree, "/Alt "+textString(words)+"/A<</O/Layout/Placement/Block/BBox[")
	}
	assert.Equal(t, "<FEFF00B5D835DFD8>", textString("µ𝟘")) // UTF-16BE with a surrogate pair: RFC 2781, 2.1
}

// inflated gives the content of an object that is a compressed stream.
func inflated(t *testing.T, object []byte) ([]byte, bool) {
	t.Helper()
	at := bytes.Index(object, []byte("stream\n"))
	if at < 0 {
		return nil, false
	}
	z, err := zlib.NewReader(bytes.NewReader(object[at+7:]))
	if err != nil {
		return nil, false
	}
	text, err := io.ReadAll(z)
	return text, err == nil
}

// A file that is not as fpdf writes it is an error, not a broken tree.
func TestTaggingRefuses(t *testing.T) {
	root := &element{role: "Document"}
	assert.ErrorContains(t, writeTagged(io.Discard, []byte("%PDF-1.3\n"), root, nil), "does not end as fpdf ends one")
	p, err := render(sample(), 9)
	require.NoError(t, err)
	var raw bytes.Buffer
	require.NoError(t, p.f.Output(&raw))
	shifted := bytes.Replace(raw.Bytes(), []byte("3 0 obj"), []byte("3  0 obj"), 1)
	assert.ErrorContains(t, writeTagged(io.Discard, shifted, p.root, p.owners), "not where")
	assert.ErrorContains(t, writeTagged(io.Discard, raw.Bytes(), p.root, make([][]*element, 99)), "more marked pages")
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
