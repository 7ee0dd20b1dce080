package html

import (
	"bytes"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"hvproof/internal/diag"
	"hvproof/internal/plan"
	"hvproof/internal/plot"
	"hvproof/internal/quantity"
)

// hostile is what a name could hold that wants to be markup, or to be read the
// other way round.
const hostile = `</script></svg></figure><script>document.documentElement.dataset.owned='yes'</script><img src=x onerror="document.documentElement.dataset.owned='yes'">` + "\u202Eelpmis"

func hostileChart() *plot.Chart {
	return &plot.Chart{Title: hostile, Panels: []plot.Panel{{Dim: quantity.Volt, Series: []plot.Series{{Name: hostile, Points: []plot.Point{{X: 0, Y: 1}, {X: 1, Y: 2}}}},
		Levels: []plot.Level{{Y: 1.5, Text: hostile}}, Marks: []plot.Mark{{X: 0.5, Y: 1.5, Text: hostile}}}}}
}

func page(t testing.TB) (Page, []byte) {
	t.Helper()
	data, err := os.ReadFile("../../../testdata/bundles/good.zip")
	require.NoError(t, err)
	p := Page{Bundle: data, Version: "0.1.0", Run: "k3f9-5", Remarks: []Remark{{Log: "hvproof/a/b/c", Entry: 7, Code: "looser-bound", Sentence: hostile}},
		Elsewhere: []Remark{{Log: "hvproof/a/b/c", Entry: 4, Code: "rolled-back", Sentence: hostile}},
		Faults:    []Remark{{Log: "hvproof/a/b/c", Entry: 8, Code: "refuted-decision", Sentence: hostile}},
		Open:      []string{hostile},
		Figures:   []Figure{{Log: "hvproof/a/b/c", Entry: 8, File: strings.Repeat("ab", 32), Chart: hostileChart(), Words: hostile}}}
	var b bytes.Buffer
	require.NoError(t, Write(&b, p))
	return p, b.Bytes()
}

func TestReadGivesWhatWasWritten(t *testing.T) {
	p, raw := page(t)
	got, err := Read(raw)
	require.NoError(t, err)
	known := []Remark{{Log: "hvproof/a/b/c", Entry: 4, Code: "rolled-back", Sentence: diag.Printable(hostile)}}
	assert.Equal(t, Page{Bundle: p.Bundle, Version: p.Version, Run: p.Run, Elsewhere: known}, got, "faults, remarks and figures follow from the bundle, and are not read")
	got.Faults, got.Remarks, got.Open, got.Figures = p.Faults, p.Remarks, p.Open, p.Figures
	var again bytes.Buffer
	require.NoError(t, Write(&again, got))
	assert.True(t, bytes.Equal(raw, again.Bytes()), "the same bundle gives the same page")
	assert.Error(t, Write(&again, Page{Version: `"><script>`}), "nothing can become markup")
	assert.Error(t, Write(&again, Page{Run: "a b"}))
}

// TestEveryByte flips bytes all over the page: either it is no page any more,
// or what it would be made of gives another one.
func TestEveryByte(t *testing.T) {
	_, raw := page(t)
	b := bytes.Clone(raw)
	for at := 0; at < len(b); at += 11 {
		b[at] ^= 1
		if p, err := Read(b); err == nil {
			var again bytes.Buffer
			if Write(&again, p) == nil {
				require.False(t, bytes.Equal(again.Bytes(), b) && bytes.Equal(p.Bundle, mustRead(t, raw).Bundle) && p.Run == "k3f9-5" && p.Version == "0.1.0", "byte %d", at)
			}
		}
		b[at] = raw[at]
	}
}

func mustRead(t *testing.T, raw []byte) Page {
	t.Helper()
	p, err := Read(raw)
	require.NoError(t, err)
	return p
}

// TestNothingFromOutside: one file, no reference, no way from data to markup.
func TestNothingFromOutside(t *testing.T) {
	_, raw := page(t)
	text := string(raw)
	hidden, _, _ := strings.Cut(text[strings.Index(text, `<div id="made" hidden>`):], "<script")
	assert.Contains(t, hidden, "<svg ")
	shown, _, _ := strings.Cut(text[strings.Index(text, "<main"):], "</main>")
	assert.Equal(t, 3, strings.Count(shown, "&lt;img src=x onerror="), "two faults, and the first of them in the answer")
	assert.NotRegexp(t, `(?i)<(script|img|style|svg|a)\b|\son[a-z]+="|style=|href`, shown)
	assert.Contains(t, hidden, "&lt;img src=x onerror=")
	assert.Contains(t, hidden, `\u{202E}elpmis`)
	assert.NotRegexp(t, `(?i)<(script|img|style|foreignObject|use|image|a)\b|\son[a-z]+="|style=|href`, hidden, "drawings hold nothing but lines and texts")
	text = strings.ReplaceAll(text, "&lt;img src=x", "")
	assert.NotRegexp(t, regexp.MustCompile(`(?i)(src|href)=|url\(|@import|https?://`), text)
	for _, way := range []string{"innerHTML", "outerHTML", "insertAdjacent", "document.write", "eval(", "new Function", "setAttribute"} {
		assert.NotContains(t, text, way)
	}
	assert.Equal(t, 1, strings.Count(text, "Content-Security-Policy"))
	assert.Contains(t, text, "default-src 'none'")
	assert.Contains(t, text, hash(text[strings.LastIndex(text, "<script>")+8:strings.LastIndex(text, "</script>")]), "the policy allows this script by its hash")
	assert.NotContains(t, text, "unsafe")
	assert.Equal(t, 2, strings.Count(text, "</script>"), "the script does not end early")
}

// TestUnits: the script knows the unit of every dimension that has a name, as a
// plan writes it.
func TestUnits(t *testing.T) {
	for _, d := range []quantity.Dim{quantity.One, quantity.Volt, quantity.Ampere, quantity.Ohm, quantity.Farad, quantity.Second, quantity.Joule, quantity.Watt,
		quantity.Kelvin, quantity.Hertz, quantity.Coulomb, quantity.Metre, quantity.Kilogram, quantity.Newton, quantity.NewtonMetre, quantity.Henry, quantity.Pascal,
		quantity.Radian, quantity.SquareMetre, quantity.OhmPerVolt, quantity.VoltPerSecond, quantity.VoltSecond, quantity.AmpereSquareSecond} {
		unit, named := d.Unit()
		require.True(t, named)
		p := plan.Plan{Car: "c", Procedure: "p", Title: "t", Stage: "A", People: 1, SignOut: 1,
			Steps: []plan.Step{{Path: "x", Kind: plan.Measure, Text: "Read it.", Dim: d, Role: "meter", IfFailed: plan.Stop, UnfitMeter: plan.RefuseMeter}}}
		text, err := plan.Marshal(&p)
		require.NoError(t, err)
		m := regexp.MustCompile(`\n\s*dimension: (\S+)\n`).FindSubmatch(text)
		require.NotNil(t, m, "%s", text)
		assert.Contains(t, pageScript, "'"+string(m[1])+"': '"+unit+"'")
	}
}

func FuzzRead(f *testing.F) {
	var b bytes.Buffer // small: Read does not look into the bundle
	require.NoError(f, Write(&b, Page{Bundle: []byte("a bundle"), Version: "1", Run: "k3f9-5"}))
	head := string(b.Bytes()[:bytes.Index(b.Bytes(), []byte("<style>"))])
	f.Add([]byte(head + "\n" + beforeData + "YSBidW5kbGU=\n" + afterData))
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, raw []byte) {
		if p, err := Read(raw); err == nil {
			require.NoError(t, Write(&bytes.Buffer{}, p))
		}
	})
}
